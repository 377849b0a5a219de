"""Results and bodies as two reports have them, made by hand: places on boxes in known frames."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from parts import Facets, box, joined

from lint3d.geometry.likeness import Likeness, likeness
from lint3d.inspection import Artifact, Inspection, Result, RuleFacts, SheetFacts
from lint3d.requirement import Requirement
from lint3d.snapshot import Snapshot

Floats = NDArray[np.float64]
THIN = Requirement("at least", "mm", "own coupons", low=0.6)
EDGES = Requirement("none", "1", "an open edge bounds nothing")
#: No turn lays it on itself: a plate with two lugs.
LUGGED = joined(box((60, 40, 5)), box((6, 4, 12), (2, 2, 4)), box((3, 9, 7), (50, 10, 4)))


def known_by(facets: Facets) -> Likeness:
    """What a shape is known by."""
    points, index = np.unique(facets.reshape(-1, 3), axis=0, return_inverse=True)
    found = likeness(points, index.reshape(-1, 3))
    assert found is not None
    return found


def wall(
    at: Sequence[float] = (30, 20, 5), value: float = 0.4, kind: str | None = None, **more: Any
) -> Result:
    """A wall whose thickness is known to a hundredth."""
    verdict = kind or ("fail" if value + 0.01 < 0.6 else "pass" if value >= 0.61 else "review")
    x, y, z = (float(v) for v in at)
    made = Result(
        "walls/thin-wall", verdict, "A wall too thin.", "a.stl", "part-1", "part-1", THIN,  # type: ignore[arg-type]
        value, value - 0.01, value + 0.01, None, (x, y, z), faces=2, extent=8.0,
        centre=(x, y, z),
    )  # fmt: skip
    return replace(made, **more)


def moved(result: Result, turn: Floats, shift: Floats) -> Result:
    """The result on a part that was moved."""

    def there(point: Any) -> Any:
        return None if point is None else tuple(float(v) for v in turn @ point + shift)

    return replace(result, position=there(result.position), centre=there(result.centre))


def snapshot(*results: Result, shape: Facets = LUGGED, uri: str = "a.stl") -> Snapshot:
    """A report on one body."""
    own = [replace(result, uri=uri) for result in results]
    return Snapshot(own, {(uri, "part-1"): known_by(shape)}, {uri: "0"}, name="old.sarif")


def inspection(*results: Result, shape: Facets = LUGGED, uri: str = "a.stl") -> Inspection:
    """A run over one file with one body."""
    own = [replace(result, uri=uri) for result in results]
    file = Artifact(
        uri, "0" * 64, 84, "STL (binary)", "mm", "given", None, ("part-1",), 36,
        (known_by(shape),),
    )  # fmt: skip
    rules = [
        RuleFacts("walls/thin-wall", "A wall too thin.", "", "thicken it.", "mm", "walls", THIN),
        RuleFacts("solid/open-edge", "An open edge.", "", "close it.", "1", "solid", EDGES),
    ]
    sheet = SheetFacts("s", "The sheet", ("s",), "5e" * 32, False)
    return Inspection(own, [file], [], rules, [], sheet, version="0.1.0")


def rotation(seed: int) -> tuple[Floats, Floats]:
    """A turn and a shift by chance."""
    rng = np.random.default_rng(seed)
    q, r = np.linalg.qr(rng.normal(size=(3, 3)))
    turn = q * np.sign(np.diag(r))
    if np.linalg.det(turn) < 0:
        turn[:, 0] *= -1
    return turn, rng.uniform(-80, 80, 3)
