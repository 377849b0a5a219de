"""How do two surfaces fit: a pin in a bore, two flats, or neither, and with what running gap?

The smooth patches round the nearest faces are fitted: planes, cylinders (by the axis that all
normals are square to and the circle through the corners), spheres. The gap is then taken over the
area where the patches face each other, not only where they are nearest. Lengths in mm. Guarded by
tests/geometry/test_clearance_fit.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance import Surface, closest_points
from lint3d.geometry.clearance_area import cut_small
from lint3d.geometry.clearance_spots import Spot, touching_faces
from lint3d.geometry.clearance_triangles import nearest_on_each
from lint3d.geometry.components import connected_groups
from lint3d.geometry.vectors import cross_product

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Where faces turn by more than this a smooth surface ends: coarser than seven facets to the turn
#: is a prism. common practice, no source
MOST_TURN = np.radians(50.0)
_ROUND = 0.005  # corners lie on the circle within this share of its radius
_SQUARE = 1e-4  # mean square of normals' lean out of the plane, as a share of their spread
_ALIKE_COS = float(np.cos(np.radians(2.0)))  # axes or planes that count as parallel
_FACING_COS = float(np.cos(np.radians(15.0)))  # the nearest point lies straight ahead
# Gaps of so many times the smallest belong to the same sliding fit: the slider may lie off centre.
_LOOSE = 6.0
_FEWEST_SAMPLES = 400
_MOST_FACES = 4000

Kind = Literal["round", "parallel", "other"]


@dataclass(frozen=True)
class Fit:
    """How two surfaces face each other round a spot."""

    kind: Kind
    running_gap_mm: float
    """mean over the facing area"""
    gap_max_mm: float
    """largest over the facing area, as sampled"""
    facing_area_mm2: float
    faceting_mm: float | None
    """how much the facets may take from or add to the gap; None if the smooth shape is unknown"""
    axis_offset_mm: float | None = None
    """of a round fit: between the axes, or the centres"""
    radii_mm: tuple[float, float] | None = None


@dataclass(frozen=True, eq=False)
class _Shape:
    kind: Literal["plane", "cylinder", "sphere"]
    axis: Floats
    """normal of a plane, direction of a cylinder's axis"""
    centre: Floats
    radius: float
    is_hollow: bool
    sagitta: float


def smooth_patches(surface: Surface) -> Ints:
    """(s,) patch of each face that has an area; faces join across edges that turn gently."""
    faces = surface.faces[surface.row]
    ends = np.sort(faces[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    key = ends[:, 0] * np.int64(len(surface.vertices)) + ends[:, 1]
    order = np.argsort(key, kind="stable")
    same = np.flatnonzero(key[order][1:] == key[order][:-1])
    one, two = order[same] // 3, order[same + 1] // 3
    normal = _unit(_crosses(surface.corners))
    gentle = np.einsum("ij,ij->i", normal[one], normal[two]) > np.cos(MOST_TURN)
    return connected_groups(len(faces), one[gentle], two[gentle])


def fit_at(
    one: Surface,
    two: Surface,
    patches: tuple[Ints, Ints],
    spot: Spot,
    reach: float,
) -> Fit | None:
    """The fit of the two surfaces round a spot.

    Parameters
    ----------
    patches : of both surfaces, from `smooth_patches`
    reach : mm, how wide a gap still belongs to a fit that is not round

    Returns
    -------
    Fit, or None where nothing faces anything
    """
    origin = spot.point.mean(axis=0)
    across = spot.point[1] - spot.point[0]
    here = _patch(one, patches[0], _squarest(one, spot.point[0], across, spot.face[0])) - origin
    there = _patch(two, patches[1], _squarest(two, spot.point[1], across, spot.face[1])) - origin
    wide = max(reach, 2 * spot.distance)
    close = _within_boxes(here, there, wide)
    near = _Sides(_nearby(close[0]), _nearby(close[1]))
    facing = _facing(near, wide)
    if facing is None:
        return None
    shapes = (
        _shape(near[0][facing[0]], one.uncertainty_mm),
        _shape(near[1][facing[1]], two.uncertainty_mm),
    )
    kind, offset = _kind(*shapes)
    faceting = None
    if kind != "other":
        assert shapes[0] is not None
        assert shapes[1] is not None
        faceting = shapes[0].sagitta + shapes[1].sagitta
        if kind == "round":
            reach = 1.02 * (abs(shapes[0].radius - shapes[1].radius) + (offset or 0.0)) + faceting
            near = _Sides(_nearby(_on(here, shapes[0])), _nearby(_on(there, shapes[1])))
        else:
            reach = max(wide, _LOOSE * spot.distance)
            near = _sliding(one, two, spot, reach)
    gap = _gap_over(near, max(reach, spot.distance) + 4 * one.uncertainty_mm)
    if gap is None:
        return None
    return Fit(
        kind,
        max(gap[0], spot.distance),
        max(gap[1], spot.distance),
        gap[2],
        faceting,
        offset if kind == "round" else None,
        (shapes[0].radius, shapes[1].radius)
        if kind == "round" and shapes[0] and shapes[1]
        else None,
    )


def _sliding(one: Surface, two: Surface, spot: Spot, reach: float) -> _Sides:
    """All faces round the spot that look straight at the other body: the four sides of a slider in
    its channel, and not the one pair that is nearest."""
    origin = spot.point.mean(axis=0)
    rows = _boxed(one.corners, two.corners, reach)
    sides = (one.corners[rows[0]] - origin, two.corners[rows[1]] - origin)
    facing = _facing(_Sides(*sides), reach)
    near = []
    for which, surface in enumerate((one, two)):
        face = surface.row[rows[which]]
        kept = np.isin(face, spot.face[which])
        kept[facing[which] if facing else []] = True
        group = touching_faces(surface.faces[face[kept]])
        start = group[face[kept] == spot.face[which]]
        near.append(_nearby(sides[which][kept][np.isin(group, start)]))
    return _Sides(near[0], near[1])


def _squarest(surface: Surface, point: Floats, across: Floats, face: int) -> int:
    """Of the faces that meet at a nearest point, the one that looks across: on a rim the nearest
    point is on the side as well as on the end."""
    step = 2 * surface.uncertainty_mm
    rows = surface.tree.within(point - step, point + step)
    rows = rows[nearest_on_each(point, surface.corners[rows])[0] <= step]
    if len(rows) == 0 or not across.any():
        return face
    straight = np.abs(_unit(_crosses(surface.corners[rows])) @ across)
    return int(surface.row[rows[int(straight.argmax())]])


def _patch(surface: Surface, patch: Ints, face: int) -> Floats:
    row = int(np.searchsorted(surface.row, face))
    corners: Floats = surface.corners[patch == patch[row]]
    return corners


def _nearby(corners: Floats) -> Floats:
    """Those faces nearest to the spot (the origin), if there are many: the work stays small."""
    if len(corners) <= _MOST_FACES:
        return corners
    distance = np.linalg.norm(corners, axis=2).min(axis=1)
    rows = np.argsort(distance, kind="stable")[:_MOST_FACES]
    nearest: Floats = corners[np.sort(rows)]
    return nearest


def _within_boxes(one: Floats, two: Floats, reach: float) -> tuple[Floats, Floats]:
    """Faces of either side that lie within reach of the box round those of the other."""
    rows = _boxed(one, two, reach)
    return one[rows[0]], two[rows[1]]


def _boxed(one: Floats, two: Floats, reach: float) -> tuple[Ints, Ints]:
    """Rows of the faces of either side that lie within reach of the box round the other's."""
    sides, rows = [one, two], [np.arange(len(one)), np.arange(len(two))]
    for here, there in ((0, 1), (1, 0)):
        mine, other = sides[here][rows[here]], sides[there]
        if len(mine) and len(other):
            low, high = mine.min(axis=(0, 1)) - reach, mine.max(axis=(0, 1)) + reach
            near = ((other.min(axis=1) <= high) & (other.max(axis=1) >= low)).all(axis=1)
            rows[there] = np.flatnonzero(near)
    return rows[0], rows[1]


def _facing(sides: _Sides, reach: float) -> tuple[Ints, Ints] | None:
    """Faces of both sides that look straight at each other within reach.

    Looked at from both: from a wide facet's few samples a small one over it is missed.
    """
    if len(sides[0]) == 0 or len(sides[1]) == 0:
        return None
    found = []
    for look in (sides.look_from(0), sides.look_from(1)):
        seen = look.straight(reach)
        found.append((np.unique(look.owner[seen.rows]), np.unique(seen.face)))
    first = np.union1d(found[0][0], found[1][1])
    second = np.union1d(found[0][1], found[1][0])
    return (first, second) if len(first) and len(second) else None


@dataclass(frozen=True, eq=False)
class _Seen:
    """Cells that have the other side straight ahead."""

    rows: Ints
    face: Ints
    """nearest face of the other side"""
    distance: Floats
    area: Floats


class _Look:
    """From small cells of one side to what is nearest on the other: made once, asked twice."""

    def __init__(self, mine: Floats, other: Floats) -> None:
        cells, self.owner = cut_small(mine, _FEWEST_SAMPLES)
        middle, self.cross = cells.mean(axis=1), _crosses(cells)
        self.distance, self.face, point = closest_points(middle, other)
        self.ahead = np.abs(np.einsum("ij,ij->i", point - middle, _unit(self.cross)))

    def straight(self, reach: float) -> _Seen:
        """Which cells have something straight ahead within reach?"""
        straight = self.ahead >= _FACING_COS * self.distance
        rows = np.flatnonzero((self.distance <= reach) & straight)
        area = 0.5 * np.linalg.norm(self.cross[rows], axis=1)
        return _Seen(rows, self.face[rows], self.distance[rows], area)


class _Sides:
    """Some faces of both bodies, and what each sees of the other."""

    def __init__(self, here: Floats, there: Floats) -> None:
        self.corners = (here, there)
        self._looks: dict[int, _Look] = {}

    def __getitem__(self, which: int) -> Floats:
        return self.corners[which]

    def look_from(self, which: int) -> _Look:
        """From 0, the first, or 1, the second."""
        if which not in self._looks:
            self._looks[which] = _Look(self.corners[which], self.corners[1 - which])
        return self._looks[which]


def _shape(corners: Floats, step: float) -> _Shape | None:
    """The plane, cylinder or sphere that the faces lie on, if they do."""
    cross = _crosses(corners)
    normal, weight = _unit(cross), np.linalg.norm(cross, axis=1)
    spread, axes = np.linalg.eigh((normal * weight[:, None]).T @ normal / weight.sum())
    points = np.unique(corners.reshape(-1, 3), axis=0)
    if spread[1] <= _SQUARE:
        return _Shape("plane", axes[:, 2], points.mean(axis=0), np.inf, False, 0.0)
    if spread[0] <= _SQUARE * spread[1]:
        across = axes[:, 1:]
        return _round("cylinder", corners, normal, points, across, axes[:, 0], step)
    return _round("sphere", corners, normal, points, np.eye(3), axes[:, 0], step)


def _round(
    kind: Literal["cylinder", "sphere"],
    corners: Floats,
    normal: Floats,
    points: Floats,
    across: Floats,
    axis: Floats,
    step: float,
) -> _Shape | None:
    """The circle or sphere through the points, in the directions `across` (columns)."""
    flat = points @ across
    if len(np.unique(np.round(flat / max(step, 1e-12)), axis=0)) <= across.shape[1] + 1:
        return None
    middle = flat.mean(axis=0)
    local = flat - middle
    system = np.column_stack([2 * local, np.ones(len(local))])
    found = np.linalg.lstsq(system, np.einsum("ij,ij->i", local, local), rcond=None)[0]
    centre = found[:-1]
    radius = float(np.sqrt(max(found[-1] + centre @ centre, 0.0)))
    away = np.linalg.norm(local - centre, axis=1)
    if np.abs(away - radius).max() > _ROUND * radius + 4 * step:
        return None
    from_centre = corners[:, 0] @ across - middle - centre
    height = np.einsum("ij,ij->i", from_centre, normal @ across)
    # Where the corners stand off the circle both ways no facet tells the smooth shape.
    sagitta = float(max(radius - np.abs(height).min(), 0.0))
    whole = across @ (middle + centre)
    if kind == "cylinder":
        whole = whole + axis * (points @ axis).mean()
    return _Shape(kind, axis, whole, radius, bool(np.median(height) < 0), sagitta)


def _kind(one: _Shape | None, two: _Shape | None) -> tuple[Kind, float | None]:
    """How two shapes fit, with the offset of their axes if they are round."""
    if one is None or two is None or one.kind != two.kind:
        return "other", None
    alike = abs(float(one.axis @ two.axis)) >= _ALIKE_COS
    if one.kind == "plane":
        return ("parallel", None) if alike else ("other", None)
    if one.is_hollow == two.is_hollow or (one.kind == "cylinder" and not alike):
        return "other", None
    between = two.centre - one.centre
    if one.kind == "cylinder":
        between = between - one.axis * float(between @ one.axis)
    return "round", float(np.linalg.norm(between))


def _on(corners: Floats, shape: _Shape) -> Floats:
    """The faces whose corners lie on a cylinder or sphere."""
    away = corners - shape.centre
    if shape.kind == "cylinder":
        away = away - (away @ shape.axis)[..., None] * shape.axis
    off = np.abs(np.linalg.norm(away, axis=2) - shape.radius).max(axis=1)
    keep: Floats = corners[off <= 2 * _ROUND * shape.radius + 1e-9]
    return keep


def _gap_over(sides: _Sides, reach: float) -> tuple[float, float, float] | None:
    """Mean and largest gap, and the area, where the smaller side looks straight at the other."""
    if len(sides[0]) == 0 or len(sides[1]) == 0:
        return None
    sizes = [np.linalg.norm(_crosses(side), axis=1).sum() for side in sides.corners]
    seen = sides.look_from(1 if sizes[1] < sizes[0] else 0).straight(reach)
    if len(seen.rows) == 0:
        return None
    mean = float(np.average(seen.distance, weights=seen.area + 1e-300))
    return mean, float(seen.distance.max()), float(seen.area.sum())


def _crosses(corners: Floats) -> Floats:
    return cross_product(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def _unit(vectors: Floats) -> Floats:
    length = np.linalg.norm(vectors, axis=1)[:, None]
    unit: Floats = vectors / np.where(length > 0, length, 1.0)
    return unit
