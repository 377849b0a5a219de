"""How high does an island stand above its base, or how deep is it sunk?

The height is that of the cap: the faces that look the same way as the base below them. A dome has
no cap, and counts by its top. Lengths in mm. Guarded by tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import Base, quantile
from lint3d.geometry.relief_facets import height_above_facets
from lint3d.geometry.relief_flat import Above, FlatCap, FlatLimits, flat_cap
from lint3d.geometry.relief_folded import (
    FacetPlanes,
    FoldedBase,
    facet_planes,
    folded_base,
    planes_of_base,
)
from lint3d.geometry.relief_foot import (
    FLAT_LEAN,
    MOST_DOUBT,
    NearBase,
    base_of,
    beside,
    is_off,
    stray,
)
from lint3d.geometry.relief_islands import Island
from lint3d.geometry.relief_round import RoundBase

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Noise reaches so many residuals from a base; facets of a coarse bent base, told by its creases
#: and not by noise, reach no farther than one.
CLEAR, CLEAR_COARSE = 3.0, 1.0
#: A face belongs to the cap if it leans from the base's normal by less than this ...
CAP_LEAN = np.cos(np.radians(30.0))
#: ... and counts for its height where it is level (FLAT_LEAN), if there are enough such faces ...
#: ... or below this, where so much of the cap is level to such a share of the height: what leans
#: more then is the rounding of its edges.
LEVEL_LEAN, LEVEL_SHARE, LEVEL = np.cos(np.radians(2.5)), 0.51, 0.005
#: The cap lies above this share of the height.
CAP_LEVEL = 0.5
#: Share of the footprint that a cap has at least; less is a ridge or a dome, told by its top.
LEAST_CAP = 0.08
#: A round island whose cap falls by this share of its height is a dome.
DOME_FALL = 0.04
#: ... and its outer half lies lower than its inner half by this share of that; noise does not.
FALLS = 0.25
#: Points spread over a triangle, by their shares of its corners.
SPREAD = np.array([(i, j, 7 - i - j) for i in (1, 3, 5) for j in (1, 3, 5) if i + j <= 6]) / 7
#: Half an interval wider than this, in mm and as a share of the height, is worth the question
#: whether the cap is folded like its base.
WIDE_MM, WIDE = 0.002, 0.005
#: Roundness 4 pi A / P^2 of a dome's foot; an octagon has 0.95.
ROUND = 0.9


@dataclass(frozen=True, eq=False)
class Measured:
    """An island with its height."""

    island: Island
    base: Base | RoundBase | FoldedBase
    height: float
    """mm, positive for raised and sunk alike."""
    lower: float
    upper: float
    dome: bool
    cap: Ints
    """Faces of the cap."""
    levels: Floats
    """(k, 3) mm: height of the corners of each face of the island; positive away from the base."""
    flat: FlatCap | None = None
    """Where the cap lies in one plane and the base bends below it."""


def measure_height(
    folds: Folds, island: Island, near_base: NearBase, step_mm: float, clear: float = CLEAR
) -> Measured | None:
    """Height of one island.

    Parameters
    ----------
    folds : angles of the surface that the island was found on
    island : the island
    near_base : points of the island's base patch within a radius of a point, with their areas
    step_mm : what rounding of coordinates can do to a distance
    clear : by how many residuals of its base an island must leave it

    Returns
    -------
    Measured, or None where the base cannot be told or the island does not leave it
    """
    base = base_of(folds, island, near_base, step_mm)
    if base is None:
        return None
    sign = 1.0 if island.raised else -1.0
    corner = folds.vertices[folds.faces[island.faces]].reshape(-1, 3)
    most = 2 * max(island.rise, island.across)
    _, level, below = base.foot(corner)

    def above_base(points: Floats) -> Floats:
        return sign * base.height(points)

    above: Above = above_base
    told = _told(folds, island, sign * level, below, step_mm + base.residual)
    # A base that was fitted to slivers may tell anything.
    is_told = clear * told.blur < told.top <= most
    lies_on: Base | RoundBase | FoldedBase = base
    # Of two faces it may follow the one, and leave the other out as a stranger.
    doubt = told.doubt + stray(folds, island, base)
    if not is_told or (
        doubt > min(WIDE_MM, WIDE * told.height) and not is_off(folds, island, base)
    ):
        near = beside(folds, island)
        planes = facet_planes(folds, island.start, island.end, near, MOST_DOUBT * island.rise)
        if planes is not None:
            level, below = planes.foot(corner)
            other = _told(folds, island, sign * level, below, step_mm + planes.doubt)
            is_clear = clear * other.blur < other.top <= most
            wide = None
            if is_clear and (other.doubt < doubt or other.blur < doubt):
                wide = _over_flat(folds, island, other, planes, step_mm)
            # Over a flat cap heights differ, and doubt is what the base itself is off.
            off = told.blur + stray(folds, island, base)
            known_better = other.doubt < doubt or (wide is not None and other.blur < off)
            if is_clear and (not is_told or known_better):
                is_told, told, above = True, other, _above_planes(wide or planes, sign)
                lies_on = (
                    folded_base(
                        planes,
                        folds.vertices[island.start],
                        island.centre,
                        island.normal,
                        other.height,
                    )
                    or base
                )
        if is_told:
            told = _above_parallel(folds, told, near, sign, step_mm)
    if not is_told:
        return None
    flat = _flat(folds, island, told, above, (lies_on.residual, step_mm))
    if flat is not None:
        told = _lowest(told, flat, island.faces)
    return Measured(
        island=island,
        base=lies_on,
        height=told.height,
        lower=told.low - told.blur,
        upper=told.high + told.blur,
        dome=told.dome,
        cap=told.cap,
        levels=told.level,
        flat=flat,
    )


def _flat(
    folds: Folds, island: Island, told: _Told, above: Above, known: tuple[float, float]
) -> FlatCap | None:
    """The plane of the cap, where the base bends below it.

    `known`: how well base and mesh are, mm.
    """
    rows = island.faces
    area = np.where(folds.is_plain[rows], folds.area[rows], 0.0)
    near = beside(folds, island)
    off = np.abs(above(folds.vertices[folds.faces[near]].mean(axis=1)))
    facet_mm = quantile(off, folds.area[near], 0.5) if len(near) else 0.0
    return flat_cap(
        (folds.vertices[folds.faces[rows]], folds.normal[rows], area),
        above,
        np.isin(rows, told.leaning),
        FlatLimits(island.centre, island.footprint, *known, facet_mm),
    )


def _above_planes(planes: FacetPlanes, sign: float) -> Above:
    return lambda points: sign * planes.foot(points)[0]


def _over_flat(
    folds: Folds, island: Island, told: _Told, planes: FacetPlanes, step_mm: float
) -> FacetPlanes | None:
    """The planes of the whole base, where the cap above them is flat and they are as well known."""
    sign = 1.0 if island.raised else -1.0
    known = planes.doubt, step_mm
    if _flat(folds, island, told, _above_planes(planes, sign), known) is None:
        return None
    most = 2 * planes.doubt + step_mm
    foot = island.start, island.end
    return planes_of_base(folds, foot, island.base, island.normal, most)


def _lowest(told: _Told, flat: FlatCap, faces: Ints) -> _Told:
    """The same, with the height where a flat cap is lowest."""
    cap = faces[flat.faces]
    if told.is_above_facets:
        return replace(told, cap=cap, dome=False)
    low = flat.lowest
    return replace(told, height=low, low=low, high=low, cap=cap, dome=False)


@dataclass(frozen=True, eq=False)
class _Told:
    """What one way of measuring tells of an island."""

    level: Floats
    """(k, 3) mm, of the corners of its faces"""
    leaning: Ints
    """Faces that look roughly as the base does ..."""
    cap: Ints
    """... and those of them that its height is told from."""
    top: float
    height: float
    low: float
    high: float
    dome: bool
    blur: float
    """mm, of the base"""
    is_above_facets: bool = False
    """Is the height that above parallel facets?"""

    @property
    def doubt(self) -> float:
        """Half the interval, mm."""
        return self.blur + (self.high - self.low) / 2


def _told(folds: Folds, island: Island, level: Floats, below: Floats, blur: float) -> _Told:
    """From the heights of all corners and the base's normals below them."""
    faces = island.faces
    level = level.reshape(-1, 3)
    below = below.reshape(-1, 3, 3).mean(axis=1)
    area, top = folds.area[faces], float(level.max())
    # A sliver looks as its neighbour does, and may be a band of the rounding beside it.
    plain = folds.is_plain[faces]
    if area[plain].sum() > 0.5 * area.sum():
        area = np.where(plain, area, 0.0)
    leaning, cap = cap_of(folds.normal[faces], area, level.mean(axis=1), below, top)
    height, low, high, dome = cap_height(
        folds.vertices[folds.faces[faces]], level, area, (leaning, cap), (folds, island), top
    )
    return _Told(level, faces[leaning], faces[cap], top, height, low, high, dome, blur)


def cap_of(
    normal: Floats, area: Floats, level: Floats, below: Floats, top: float
) -> tuple[Bools, Bools]:
    """Which faces look roughly as the base does, high up, and which of them tell the height.

    Parameters
    ----------
    normal : (k, 3) unit, of the faces of an island
    area : (k,) mm2
    level : (k,) mm, of their middles above the base
    below : (k, 3) unit normals of the base below them
    top : mm, of the highest corner
    """
    lean = np.einsum("ij,ij->i", normal, below)
    leaning: Bools = (lean >= CAP_LEAN) & (level > CAP_LEVEL * top)
    whole = area[leaning].sum()
    even = leaning & (lean >= LEVEL_LEAN)
    if area[even].sum() >= LEVEL_SHARE * whole:
        low, middle, high = (quantile(level[even], area[even], s) for s in (0.05, 0.5, 0.95))
        if high - low <= LEVEL * middle:
            return leaning, even
    flat = leaning & (lean >= FLAT_LEAN)
    return leaning, flat if area[flat].sum() >= 0.3 * whole else leaning


def _above_parallel(folds: Folds, told: _Told, beside: Ints, sign: float, step_mm: float) -> _Told:
    """The same, with the height above parallel facets where that is known better."""
    found = height_above_facets(folds, told.leaning, beside, sign, told.height)
    if found is None or found[2] - found[1] >= 2 * told.doubt:
        return told
    height, low, high = found
    # A round dot that is folded with its base falls off to its foot, and is no dome.
    return replace(
        told, height=height, low=low, high=high, dome=False, blur=step_mm, is_above_facets=True
    )


def cap_height(
    corner: Floats,
    level: Floats,
    area: Floats,
    of_cap: tuple[Bools, Bools],
    island: tuple[Folds, Island],
    top: float,
) -> tuple[float, float, float, bool]:
    """Height, its lower and upper end by the spread of the cap, and whether it is a dome's.

    Parameters
    ----------
    corner : (k, 3, 3) mm, of faces of the island
    level : (k, 3) mm, of these corners
    area : (k,) mm2
    of_cap : (k,) which look roughly as the base does, and which of those tell the height
    island : with the surface that it was found on
    top : mm, of the highest corner
    """
    leaning, cap = of_cap
    if area[cap].sum() < LEAST_CAP * island[1].footprint:
        return top, top, top, _is_round(*island)
    if _is_dome(corner[leaning], level[leaning], area[leaning], island, top):
        return top, top, top, True
    low, middle, high = (quantile(level[cap].mean(axis=1), area[cap], s) for s in (0.1, 0.5, 0.9))
    return middle, low, high, False


def _is_dome(
    corner: Floats, level: Floats, area: Floats, island: tuple[Folds, Island], top: float
) -> bool:
    """Do the faces of a round raised island that look as the base does fall off from its middle?

    Those of a half ball that are nearly level are no more than the middle of it.
    """
    foot = island[1]
    low = quantile(level.mean(axis=1), area, 0.1)
    if not (foot.raised and top - low > DOME_FALL * top and _is_round(*island)):
        return False
    # Of few facets all corners but one lie on their rim.
    points, high = np.matmul(SPREAD, corner), level @ SPREAD.T
    away = np.linalg.norm(np.cross(points - foot.centre, foot.normal), axis=2).ravel()
    weight = np.repeat(area, len(SPREAD))
    outer = away >= quantile(away, weight, 0.5)
    inside, outside = (quantile(high.ravel()[k], weight[k], 0.5) for k in (~outer, outer))
    return inside - outside > FALLS * (top - low)


def _is_round(folds: Folds, island: Island) -> bool:
    """Is its foot a circle?"""
    side = folds.vertices[island.end] - folds.vertices[island.start]
    perimeter = np.linalg.norm(side, axis=1).sum()
    return bool(4 * np.pi * island.footprint >= ROUND * perimeter**2)
