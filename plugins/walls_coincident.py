"""Where is a wall or a gap of nothing: faces that lie on each other back to back?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lint3d import LeftOut, Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d import Joined
    from lint3d.geometry.back_to_back import BackToBack
    from lint3d.geometry.spans_regions import ThinRegion
    from lint3d_plugins.walls_looks import Surface

UNSURE_SIDES = (
    "Faces lie on each other here, and it is not known on which side of them the material is; "
    "solid/self-intersection and solid/duplicate-face tell more."
)

SOME_ALONE = (
    "Faces lie so close together that only some of them were looked at for whether others lie on "
    "them."
)


@dataclass(frozen=True, eq=False)
class Coincident:
    """Walls and gaps of nothing.

    Attributes
    ----------
    walls, gaps : one place for each connected area
    faces : (k,) int64, all faces that lie on others
    floor_mm : what coordinates tell apart
    """

    walls: tuple[Place, ...]
    gaps: tuple[Place, ...]
    faces: NDArray[np.int64]
    floor_mm: float
    left_out: tuple[LeftOut, ...] = ()
    lies_on: Joined | None = None

    def without(self, found: Sequence[ThinRegion]) -> list[ThinRegion]:
        """Regions that are not on these faces: what spans tell of those is chance."""
        return [one for one in found if not self._holds(one)]

    def _holds(self, region: ThinRegion) -> bool:
        on_them = np.isin([region.face, region.contact_face], self.faces).any()
        return bool(region.value <= self.floor_mm and on_them)


def coincident_in(surface: Surface) -> Coincident:
    """Places where faces of a surface lie on each other back to back."""
    from lint3d.geometry.back_to_back import GAP, STEPS, UNSURE, WALL, back_to_back

    found = back_to_back(surface.spans)
    floor = STEPS * surface.spans.resolution
    unsure = np.unique(found.faces[found.kind == UNSURE])
    left_out = [LeftOut(UNSURE_SIDES, unsure)] if len(unsure) else []
    if not found.complete:
        left_out.append(LeftOut(SOME_ALONE))
    return Coincident(
        _places(found, WALL, floor, "The wall is 0 mm thick."),
        _places(found, GAP, floor, "The gap is 0 mm wide."),
        np.unique(found.faces),
        floor,
        tuple(left_out),
        surface.lies_on,
    )


def _places(found: BackToBack, kind: int, floor: float, remark: str) -> tuple[Place, ...]:
    """One place for each group of a kind."""
    places = []
    for group in np.unique(found.group[found.kind == kind]):
        rows = np.flatnonzero(found.group == group)
        worst = rows[found.area[rows].argmax()]
        first, faces = found.faces[worst], np.unique(found.faces[rows])
        size = found.box[rows, 1].max(axis=0) - found.box[rows, 0].min(axis=0)
        places.append(
            Place(
                0.0,
                lower=0.0,
                upper=floor,
                position=found.point[worst],
                faces=np.concatenate([first, faces[~np.isin(faces, first)]]),
                distinct=True,
                extent_mm=float(size.max()),
                remark=f"{remark} Its sides lie on each other.",
                properties={"area_mm2": float(found.area[rows].sum())},
            )
        )
    return tuple(places)
