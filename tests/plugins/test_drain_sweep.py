"""Are the verdicts right on random parts with closed-form throats, in random frames?

One part of each family by default; `-m slow` runs more than three hundred and prints how many
verdicts were wrong.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import shapes_ducts
import shapes_voids
from parts import write_stl

import lint3d
from lint3d import Result

RULES = ("sealed-pocket", "narrow-neck")
LIMITS = (0.8, 1.5, 1.5, 2.5)
#: Throats of random sections are given to this, mm: files hold float32.
ROUNDING = 2e-4
#: Families that take seconds a part; the quick tests leave them out.
LONG = {"spiral", "long_duct", "labyrinth", "ring_in_one_body", "square_ring", "in_parallel"}


def inspected(
    folder: Path, case: shapes_ducts.Case, frame: np.ndarray, limit: float
) -> dict[str, list[Result]]:
    """Results by rule; a crash fails the test."""
    files = []
    for number, body in enumerate(case.bodies):
        vertices, faces = shapes_voids.mesh(body, frame)
        files.append(str(write_stl(folder / f"{number}.stl", vertices[faces])))
    inspection = lint3d.inspect(
        files,
        only=[f"drain/{rule}" for rule in RULES],
        limits=[f"drain/narrow-neck={limit}"],
        workers=0,
        together=len(files) > 1,
    )
    assert [n for n in inspection.notifications if n.level == "error"] == []
    return {rule: [r for r in inspection.results if r.rule == f"drain/{rule}"] for rule in RULES}


def kind_of(results: list[Result]) -> str:
    """The gravest verdict."""
    kinds = {result.kind for result in results}
    return next(kind for kind in ("fail", "open", "review", "pass") if kind in kinds)


def troubles(family: str, number: int, folder: Path) -> Iterator[str]:
    """What is wrong with the verdicts on one random part."""
    generator = np.random.default_rng([number, sum(map(ord, family))])
    limit = float(generator.choice(LIMITS))
    case = shapes_ducts.FAMILIES[family](generator, limit)
    found = inspected(folder, case, shapes_voids.random_frame(number + 17), limit)
    sealed = kind_of(found["sealed-pocket"])
    if sealed != ("fail" if case.sealed else "pass"):
        yield f"sealed-pocket: {sealed}"
    told = sorted(r.measured or 0.0 for r in found["sealed-pocket"] if r.kind == "fail")
    if case.sealed and told != pytest.approx(sorted(case.sealed), rel=1e-4, abs=0.01):
        yield f"volumes {told} for {case.sealed}"
    verdict = kind_of(found["narrow-neck"])
    if verdict != ("fail" if any(true < limit for true in case.throats) else "pass"):
        yield f"narrow-neck: {verdict} at {limit} for {case.throats}"
    measured = [r for r in found["narrow-neck"] if r.lower is not None and r.upper is not None]
    if case.throats and not measured:
        yield "nothing measured"
    elif case.throats:
        yield from _interval(min(measured, key=lambda r: r.measured or 0.0), case, limit)


def _interval(result: Result, case: shapes_ducts.Case, limit: float) -> Iterator[str]:
    true = min(case.throats)
    assert result.lower is not None
    assert result.upper is not None
    if not result.lower - ROUNDING <= true <= result.upper + ROUNDING:
        yield f"{true} outside [{result.lower}, {result.upper}]"
    allowed = 0.02 if abs(true - limit) < 0.1 else max(0.05 * true, 0.03)
    could_not_be_followed = result.lower == 0
    if result.upper - result.lower > allowed and not could_not_be_followed:
        yield f"[{result.lower}, {result.upper}] is too wide"


@pytest.mark.parametrize("family", sorted(set(shapes_ducts.FAMILIES) - LONG))
@pytest.mark.cases(1)
def test_random_part(family: str, tmp_path: Path) -> None:
    assert list(troubles(family, 0, tmp_path)) == []


@pytest.mark.slow
def test_three_hundred_random_parts(tmp_path: Path) -> None:
    wrong = {}
    for family in shapes_ducts.FAMILIES:
        for number in range(13):
            folder = tmp_path / f"{family}-{number}"
            folder.mkdir()
            found = list(troubles(family, number, folder))
            if found:
                wrong[family, number] = found
    print(f"{len(wrong)} of {13 * len(shapes_ducts.FAMILIES)} parts judged wrongly: {wrong}")
    assert wrong == {}
