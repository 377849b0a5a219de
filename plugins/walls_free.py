"""Which rule tells of a wall: the one for walls, or that for walls that stand free?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lint3d.requirement import Requirement, decide
from lint3d_plugins.walls_looks import Thickness

if TYPE_CHECKING:
    from lint3d import Joined, LeftOut
    from lint3d.geometry.spans_regions import ThinRegion

#: Places of a wall from which is judged whether it stands free.
PROBES = 64
MOSTLY_FREE = 0.75
#: Verdicts, each harder than those before it.
HARDER = ("pass", "review", "fail")
PASSES = HARDER.index("pass")


@dataclass(frozen=True, eq=False)
class Walls:
    """Thin regions that are walls, each told by one rule.

    A wall is told by the rule whose verdict on it is the harder one; walls/thin-wall before
    walls/free-wall.

    Attributes
    ----------
    thin, free : what is required of walls, and of free-standing ones; None where the rule is off
    """

    thickness: Thickness
    thin: Requirement | None
    free: Requirement | None
    _stands_free: dict[int, bool] = field(default_factory=dict)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        return self.thickness.left_out

    @property
    def lies_on(self) -> Joined | None:
        return self.thickness.lies_on

    def untold(self, limit: float) -> tuple[LeftOut, ...]:
        """That there are more walls below a limit than are told, if there are."""
        return self.thickness.untold(limit, "wall")

    def thin_below(self, limit: float) -> list[ThinRegion]:
        """Walls that may be thinner than `limit`, less those that walls/free-wall tells."""
        return [one for one in self._below(limit, 0.0) if not self._is_left_to_free(one)]

    def free_below(self, limit: float) -> list[ThinRegion]:
        """Walls that stand free, may be thinner than `limit`, and are not walls/thin-wall's."""
        told = self.thin.low - self.thin.uncertainty if self.thin and self.thin.low else 0.0
        return [one for one in self._below(limit, told) if self._is_for_free(one)]

    def _below(self, limit: float, told: float) -> list[ThinRegion]:
        if not self.thickness.has_any(limit, told):
            return []
        return [one for one in self.thickness.regions(limit) if one.kind == "wall"]

    def _is_left_to_free(self, region: ThinRegion) -> bool:
        thin, free = self._verdicts(region)
        return thin < free and self._is_free(region)

    def _is_for_free(self, region: ThinRegion) -> bool:
        thin, free = self._verdicts(region)
        return (thin < free or free == PASSES) and self._is_free(region)

    def _verdicts(self, region: ThinRegion) -> tuple[int, int]:
        """How hard either rule judges a wall, if it stands free."""
        return _verdict(region, self.thin), _verdict(region, self.free)

    def _is_free(self, region: ThinRegion) -> bool:
        key = id(region)
        if key not in self._stands_free:
            self._stands_free[key] = stands_free(self.thickness, region)
        return self._stands_free[key]


def _verdict(region: ThinRegion, required: Requirement | None) -> int:
    if required is None:
        return PASSES
    return HARDER.index(decide(region.lower, region.upper, required))


def stands_free(thickness: Thickness, region: ThinRegion) -> bool:
    """Do nearly all places of a wall stand free?

    Of a square web in a corner, held along two sides, half of the places do.
    """
    from lint3d.geometry.free_walls import is_free

    spans = thickness.spans
    mine = np.isin(spans.face, region.faces) & np.isin(spans.contact_face, region.faces)
    rows = np.flatnonzero(mine & spans.measured & ~spans.knife & (spans.area > 0))
    if not len(rows):
        return False
    rows = rows[:: max(1, len(rows) // PROBES)]
    free = is_free(spans.surface.scene, spans.point[rows], spans.contact_point[rows], region.axis)
    return bool(free.mean() > MOSTLY_FREE)
