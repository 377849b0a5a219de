"""What is one island like: how high, how wide its strokes, which outline?

Gathers what the other kernels measure of an island. Lengths in mm. Guarded by
tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import quantile
from lint3d.geometry.relief_folded import FoldedBase
from lint3d.geometry.relief_heights import Measured
from lint3d.geometry.relief_outline import Outline, outline_at
from lint3d.geometry.relief_standing import Standing
from lint3d.geometry.relief_strokes import (
    Widths,
    counter_widths,
    spread_points,
    stroke_widths,
)

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Outlines are taken at these shares of the height, clear of fillets at foot and head; what walls
#: with draft would reach at the cap follows from both.
LOW_LEVEL, HIGH_LEVEL = 0.35, 0.7
#: What an outline of chords and the choice of levels may do to a width, as a share of it.
OUTLINE_SHARE = 0.005
#: What is closed in by a line no wider than so many times the uncertainty of a width is noise.
CRUMB = 2.0
#: The middles of a foot and of a cap lie nearer than this share of the cap's reach.
FAR_ASIDE = 0.4
#: Shares of an outline whose distance from its middle tells one shape from another.
PROFILE = np.linspace(0.1, 0.9, 9)


@dataclass(frozen=True, eq=False)
class Shape:
    """An island with what follows from its outline."""

    folds: Folds
    measured: Measured
    blur: float
    """mm, what the surface that was searched may be off"""

    @property
    def raised(self) -> bool:
        return self.measured.island.raised

    @property
    def height(self) -> float:
        return self.measured.height

    @property
    def lower(self) -> float:
        return self.measured.lower - self.blur

    @property
    def upper(self) -> float:
        return self.measured.upper + self.blur

    @property
    def votes(self) -> int:
        return self.measured.island.votes

    @cached_property
    def standing(self) -> Standing:
        island = self.measured.island
        slack = (self.upper - self.lower) / 2
        rows = self.folds.faces[self.measured.cap]
        if not len(rows):
            rows = island.start
        # The cap: threads of slivers may hang on the foot.
        points = self.folds.vertices[np.unique(rows)]
        centre = self._middle_without_threads(points)
        base = self.measured.base
        over_edge = isinstance(base, FoldedBase) and len(base.turn) > 2
        height, flat = self.height, self.measured.flat
        if flat is not None:
            # Its neighbours' caps lie in the same plane, at other heights.
            height = (flat.lowest + flat.highest) / 2
            slack += (flat.highest - flat.lowest) / 2
        return Standing(island.raised, height, slack, centre, island.normal, points, over_edge)

    def _middle_without_threads(self, points: Floats) -> Floats:
        """The middle of the foot, or that of the cap where a thread draws the other far aside."""
        island, cap = self.measured.island, self.measured.cap
        area = self.folds.area[cap]
        if not area.sum() > 0:
            return island.centre
        middle = self.folds.vertices[self.folds.faces[cap]].mean(axis=1)
        aside = np.average(middle, axis=0, weights=area) - island.centre
        aside = aside - (aside @ island.normal) * island.normal
        centre: Floats = island.centre + aside
        reach = np.linalg.norm(points - centre, axis=1).max()
        return centre if np.linalg.norm(aside) > FAR_ASIDE * reach else island.centre

    @property
    def axes(self) -> Floats:
        """(3, 3) rows: two directions in the plane of its outlines, and their normal."""
        flat = self.measured.flat
        axes: Floats = (flat.plane if flat is not None else self.measured.base).axes
        return axes

    @property
    def foot(self) -> Floats:
        """(k, 3) mm, vertices along the foot."""
        points: Floats = self.folds.vertices[self.measured.island.start]
        return points

    @cached_property
    def outline(self) -> Outline | None:
        """At the upper level."""
        return self._at(HIGH_LEVEL)

    @cached_property
    def _lower_outline(self) -> Outline | None:
        return self._at(LOW_LEVEL)

    def _at(self, share: float) -> Outline | None:
        island, measured = self.measured.island, self.measured
        corners, points = self.folds.faces[island.faces], self.folds.vertices
        levels, level, base = measured.levels, share * self.height, measured.base
        if measured.flat is not None:
            # Walls run square to the cap: planes along it, none of which reaches the base.
            base = measured.flat.plane
            sign = 1.0 if island.raised else -1.0
            deep = -sign * base.height(points[corners].reshape(-1, 3)).reshape(-1, 3)
            levels, level = -deep, (share - 1) * measured.flat.lowest
        outline = outline_at(corners, points, levels, base, level)
        if outline is None or not outline.is_closed:
            return None
        return outline.without_crumbs(self._noise)

    @property
    def _noise(self) -> float:
        """mm, what is narrower than this at an outline may be noise."""
        return CRUMB * self.stroke_uncertainty(0.0)

    @cached_property
    def fill(self) -> float:
        """Share of its convex hull that the outline fills: 1 for a disc, 0.6 for a T."""
        return 1.0 if self.outline is None else self.outline.fill()

    @cached_property
    def counters(self) -> Floats:
        """(c,) mm, the largest circle in each closed space, at the cap."""
        if self.outline is None:
            return np.zeros(0)
        widths = counter_widths(self.outline)
        # Walls that lean open the spaces by as much as they narrow the strokes.
        return np.maximum(widths - self._lean, 0.0) if len(widths) else widths

    @cached_property
    def strokes(self) -> Widths:
        """At the cap."""
        high, more = self._high_strokes, self._lean
        return Widths(max(high.narrowest + more, 0.0), max(high.usual + more, 0.0))

    @cached_property
    def _high_strokes(self) -> Widths:
        """At the upper level."""
        if self.outline is None:
            return Widths(np.nan, np.nan)
        return stroke_widths(self.outline, self._noise)

    @cached_property
    def _lean(self) -> float:
        """mm, how much wider strokes are at the cap than at the upper level; 0 if not known."""
        high, low = self.outline, self._lower_outline
        if high is None or low is None:
            return 0.0
        if len(high.area) == len(low.area):
            # A line that moves by d sweeps d times the middle of its lengths before and after, both
            # sides of a stroke move. (The usual stroke of a letter with thick and thin ones hangs
            # on where its outline is sampled.)
            swept = float(high.area.sum() - low.area.sum())
            lean = 4 * swept / max(high.length + low.length, 1e-300)
        else:
            lean = self._high_strokes.usual - stroke_widths(low, self._noise).usual
        share = (1 - HIGH_LEVEL) / (HIGH_LEVEL - LOW_LEVEL)
        return share * lean if np.isfinite(lean) else 0.0

    def stroke_uncertainty(self, width: float) -> float:
        """mm"""
        return OUTLINE_SHARE * width + 2 * self.blur + self.measured.base.residual

    def extent(self, way: Floats) -> tuple[float, float]:
        """Lowest and highest point along a direction in space, at the cap, from the centre."""
        axes = self.axes
        flat = np.array([way @ axes[0], way @ axes[1]])
        flat /= max(float(np.linalg.norm(flat)), 1e-12)
        high, low = self.outline, self._lower_outline
        if high is None or low is None:
            foot = (self.foot - self.measured.island.centre) @ way
            return float(foot.min()), float(foot.max())
        a, b = high.start @ flat, low.start @ flat
        share = (1 - HIGH_LEVEL) / (HIGH_LEVEL - LOW_LEVEL)
        return (
            float(a.min() + share * (a.min() - b.min())),
            float(a.max() + share * (a.max() - b.max())),
        )

    @cached_property
    def signature(self) -> Floats:
        """(13,) mm, what congruent islands share, mirrored ones too.

        Both radii of gyration of the outline, root of area, a quarter of the perimeter, and how far
        shares of the outline are from its middle: capitals of one font have alike radii and areas.
        """
        if self.outline is None:
            return np.zeros(4 + len(PROFILE))
        line = self.outline
        length = np.linalg.norm(line.end - line.start, axis=1)
        middle = (line.start + line.end) / 2
        centre = (middle * length[:, None]).sum(axis=0) / length.sum()
        spread = ((middle - centre) * length[:, None]).T @ (middle - centre) / length.sum()
        radii = np.sqrt(np.maximum(np.linalg.eigvalsh(spread), 0.0))
        point, _, weight = spread_points(line)
        far = np.linalg.norm(point - centre, axis=1)
        profile = [quantile(far, weight, share) for share in PROFILE.tolist()]
        return np.array([*radii, np.sqrt(abs(line.area.sum())), length.sum() / 4, *profile])
