"""Relief against published numbers: tactile signs, braille, technical lettering, jetted features.

Sources: 2010 ADA Standards 703.2.1 (raised 0.8 mm), 703.2.5 (16 to 51 mm), 703.2.6 (stroke at most
15 %), 703.3.1 (dots); ISO 3098 (strokes h/14 and h/10); Materials 2021, 14, 1989 (PMC8071569:
jetted features below 0.423 mm distorted, below 0.212 mm failed).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapes_relief as shapes
from parts import write_stl
from shapes_relief import ReliefCase

import lint3d


def kinds(folder: Path, case: ReliefCase, sheet: str = "tactile-sign") -> dict[str, set[str]]:
    path = write_stl(folder / "sign.stl", case.vertices[case.faces])
    done = lint3d.inspect([path], sheet=sheet, only=["relief"], workers=0)
    assert not done.notifications
    found: dict[str, set[str]] = {}
    for result in done.results:
        found.setdefault(result.rule.removeprefix("relief/"), set()).add(result.kind)
    return found


@pytest.mark.parametrize(
    ("size", "stroke", "height", "failing"),
    [
        (20.0, 2.4, 0.9, set()),
        (20.0, 2.4, 0.7, {"raised-height"}),
        (15.0, 1.8, 0.9, {"character-height"}),
        (52.0, 6.0, 0.9, {"character-height"}),
        (20.0, 3.4, 0.9, {"stroke-share"}),
    ],
)
@pytest.mark.cases(3)
def test_raised_characters_of_a_tactile_sign(
    size: float, stroke: float, height: float, failing: set[str], tmp_path: Path
) -> None:
    rng = np.random.default_rng(int(size))
    case = shapes.moved(shapes.barred("LIFT", height, size, stroke), rng)
    found = kinds(tmp_path, case)
    assert {rule for rule, kind in found.items() if "fail" in kind} == failing
    assert not any("review" in kind for kind in found.values())


@pytest.mark.parametrize(
    ("changed", "failing"),
    [
        ({}, set()),
        ({"high": 0.5}, {"dot-height"}),
        ({"high": 1.0}, {"dot-height"}),
        ({"across": 1.3}, {"dot-base"}),
        ({"across": 1.8}, {"dot-base"}),
        ({"spacing": 2.15}, {"dot-spacing"}),
        ({"spacing": 2.7}, {"dot-spacing"}),
    ],
    ids=str,
)
@pytest.mark.cases(1)
def test_dots_of_braille(changed: dict[str, float], failing: set[str], tmp_path: Path) -> None:
    case = shapes.moved(shapes.braille("tide", segments=64, **changed), np.random.default_rng(8))
    found = kinds(tmp_path, case)
    assert {rule for rule, kind in found.items() if "fail" in kind} == failing


@pytest.mark.parametrize(
    ("changed", "failing"),
    [({}, set()), ({"high": 0.5}, {"dot-height"}), ({"spacing": 2.15}, {"dot-spacing"})],
    ids=str,
)
@pytest.mark.parametrize("top", [1.0, 0.6])
def test_pins_that_stand_as_dots_do(
    top: float, changed: dict[str, float], failing: set[str], tmp_path: Path
) -> None:
    """Dots drawn as cylinders and cut cones were not seen, and every one of them passed."""
    case = shapes.braille("kid", segments=64, top=top, **changed)
    found = kinds(tmp_path, shapes.moved(case, np.random.default_rng(8)))
    dots = {rule: kind for rule, kind in found.items() if rule.startswith("dot-")}
    assert {rule for rule, kind in dots.items() if "fail" in kind} == failing
    assert not any("review" in kind for kind in dots.values())


@pytest.mark.parametrize("text", ["oak", "kka", "eke"])
@pytest.mark.parametrize(("spacing", "kind"), [(2.4, "pass"), (2.15, "fail"), (2.7, "fail")])
@pytest.mark.cases(5)
def test_dots_of_which_none_are_neighbours(
    text: str, spacing: float, kind: str, tmp_path: Path
) -> None:
    """The nearest dots of these words stand across a cell, or leave one out."""
    case = shapes.moved(shapes.braille(text, spacing=spacing), np.random.default_rng(8))
    assert kinds(tmp_path, case)["dot-spacing"] == {kind}


@pytest.mark.parametrize("share", [1 / 14, 1 / 10])
def test_technical_lettering_of_both_types(share: float, tmp_path: Path) -> None:
    own = tmp_path / "technical.toml"
    own.write_text(
        '[sheet]\nextends = "mjt-meltable"\n[rules."relief/stroke-share"]\n'
        f"at_least = {share * 0.97}\nat_most = {share * 1.03}\n"
        'unit = "1"\nsource = "ISO 3098"\n'
    )
    sound = shapes.barred("FILE", 0.5, 10.0, 10.0 * share)
    assert kinds(tmp_path, sound, str(own))["stroke-share"] == {"pass"}
    bold = shapes.barred("FILE", 0.5, 10.0, 10.0 * share * 1.2)
    assert kinds(tmp_path, bold, str(own))["stroke-share"] == {"fail"}


@pytest.mark.parametrize(("stroke", "kind"), [(0.40, "fail"), (0.45, "pass")])
def test_jetted_strokes(stroke: float, kind: str, tmp_path: Path) -> None:
    case = shapes.barred("FILE", 0.5, 5.0, stroke)
    assert kinds(tmp_path, case, "mjt-meltable")["stroke"] == {kind}


@pytest.mark.parametrize(("depth", "kind"), [(0.20, "fail"), (0.22, "pass")])
def test_jetted_depths(depth: float, kind: str, tmp_path: Path) -> None:
    case = shapes.barred("FILE", -depth, 5.0, 0.8)
    assert kinds(tmp_path, case, "mjt-meltable")["sunk-depth"] == {kind}
