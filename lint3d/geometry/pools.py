"""How much liquid stays in a part, in which position the least?

A *pool* is what cannot run out because every way out rises above it. For a given direction it is
exact: the free space (a box less the part) is cut at a level, and the level raised by bisection
until the pool meets the outside. Among many directions a coarse flood chooses; the best few are
exact.
Lengths in mm, volumes in mm3. Guarded by tests/geometry/test_pools.py.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from lint3d.geometry.pools_flood import Flood, directions

if TYPE_CHECKING:
    from manifold3d import Manifold

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Bisection ends at this share of the part's height.
_LEVEL_SHARE = 1e-5
#: Fewer points of the coarse grid are no pool if they are not deep either.
_FEW = 8
#: Pools that are cut exactly in one position; the rest keep the coarse flood's volume.
_MOST_POOLS = 24


@dataclass(frozen=True, eq=False)
class Pool:
    """Liquid that stays in one place."""

    volume: float
    volume_lower: float
    volume_upper: float
    position: Floats
    """(3,) mm, its lowest point or near it"""
    level: float
    """mm along the up direction, where it would run over"""


@dataclass(frozen=True, eq=False)
class Retained:
    """What stays in a position."""

    up: Floats
    """(3,) unit vector: this way up"""
    volume: float
    volume_lower: float
    volume_upper: float
    pools: list[Pool]
    """by falling volume"""
    exact: bool
    """False: the part is no sound solid, and the coarse flood's volume stands"""


def retained_liquid(
    vertices: Floats,
    faces: Ints,
    up: Floats | None = None,
    ways: list[Floats] | None = None,
    tries: int = 200,
    exact_tries: int = 3,
) -> Retained:
    """How much liquid stays, in the given position or in the best one?

    Parameters
    ----------
    vertices, faces : mm; a sound solid, faces look out of the material
    up : (3,) which way is up; None = the best of `tries` directions
    ways : ways out of pockets, each (n, 3) mm (`Pocket.way`): a coarse grid may not show them
    exact_tries : how many of the best directions are measured exactly

    Returns
    -------
    Retained : hollows that nothing leads to are not counted, they are sealed pockets
    """
    flood = Flood(vertices, faces, ways or [])
    solid = _solid(vertices, faces)
    if up is not None:
        return _measured(flood, solid, np.asarray(up, np.float64) / np.linalg.norm(up))
    candidates = directions(tries)
    rough: list[float] = []
    empty: list[Retained] = []
    for one in candidates:
        rough.append(flood.volume(one))
        if rough[-1] == 0.0:
            # None can be better, if it is true.
            empty.append(_measured(flood, solid, one))
            if empty[-1].volume == 0.0:
                return empty[-1]
    best = candidates[: len(rough)][np.argsort(rough, kind="stable")[:exact_tries]]
    results = [_measured(flood, solid, one) for one in best]
    return min([*results, *empty], key=lambda result: result.volume)


def _solid(vertices: Floats, faces: Ints) -> Manifold | None:
    import manifold3d

    mesh = manifold3d.Mesh64(
        np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(faces, np.uint64)
    )
    solid = manifold3d.Manifold(mesh)
    return solid if solid.status() == manifold3d.Error.NoError and not solid.is_empty() else None


def _measured(flood: Flood, solid: Manifold | None, up: Floats) -> Retained:
    """Every pool of one position."""
    rough = _rough_pools(flood, up)
    if solid is None:
        total = sum(pool.volume for pool in rough)
        return Retained(up, total, 0.0, 2.0 * total + flood.grid.pitch**3, rough, False)
    turn = _upright(up)
    turned = solid.transform(np.column_stack([turn, np.zeros(3)]))
    pools: list[Pool] = []
    free = _around(turned)
    for pool in rough[:_MOST_POOLS]:
        exact = _exact_pool(free, turn, pool)
        if exact is not None and not any(_same(exact, other) for other in pools):
            pools.append(exact)
    pools += rough[_MOST_POOLS:]
    pools.sort(key=lambda pool: (-pool.volume, *pool.position))
    return Retained(
        up,
        sum(pool.volume for pool in pools),
        sum(pool.volume_lower for pool in pools),
        sum(pool.volume_upper for pool in pools),
        pools,
        True,
    )


def _same(one: Pool, two: Pool) -> bool:
    """Two starts in one pool end at the same level with the same volume."""
    return abs(one.level - two.level) < 1e-3 and abs(one.volume - two.volume) < 1e-6 * one.volume


def _rough_pools(flood: Flood, up: Floats) -> list[Pool]:
    """Connected points that stay, by falling volume."""
    height, spill = flood.stays(up)
    stays = np.isfinite(spill) & (height < spill - 1e-9)
    rows = np.flatnonzero(stays)
    if len(rows) == 0:
        return []
    deep = 0.75 * flood.grid.pitch
    edges = flood.edges
    inside = stays[edges].all(axis=1)
    graph = coo_array(
        (np.ones(np.count_nonzero(inside)), (edges[inside, 0], edges[inside, 1])),
        shape=(len(stays),) * 2,
    )
    label = connected_components(graph, directed=False)[1]
    cell = flood.grid.pitch**3
    pools = []
    for one in np.unique(label[rows]):
        group = rows[label[rows] == one]
        lowest = group[np.argmin(height[group])]
        if len(group) < _FEW and spill[group].max() - height[lowest] < deep:
            continue  # a step of the coarse grid
        volume = len(group) * cell
        pools.append(
            Pool(volume, 0.0, 2 * volume + cell, flood.point[lowest], float(spill[group].max()))
        )
    return sorted(pools, key=lambda pool: (-pool.volume, *pool.position))


def _upright(up: Floats) -> Floats:
    """A rotation that turns `up` to the z axis."""
    helper = np.eye(3)[int(np.argmin(np.abs(up)))]
    one = np.cross(helper, up)
    one /= np.linalg.norm(one)
    return np.stack([one, np.cross(up, one), up])


def _around(solid: Manifold) -> Manifold:
    """The free space in a box around a part."""
    from manifold3d import Manifold

    box = np.array(solid.bounding_box())
    margin = 0.02 * float((box[3:] - box[:3]).max()) + 0.1
    size = box[3:] - box[:3] + 2 * margin
    return Manifold.cube(size.tolist()).translate((box[:3] - margin).tolist()) - solid


def _exact_pool(free: Manifold, turn: Floats, pool: Pool) -> Pool | None:
    """Raise the level until the pool meets the outside; None if nothing stands there."""
    box = np.array(free.bounding_box())
    start = turn @ pool.position
    step = _LEVEL_SHARE * float(box[5] - box[2])
    low, high = float(start[2]) + step, float(box[5])
    best = _below(free, low, start, box)
    if best is None:
        return None
    while high - low > step:
        middle = (low + high) / 2
        piece = _below(free, middle, start, box)
        if piece is None:
            high = middle
        else:
            low, best = middle, piece
    volume, area, lowest = best
    return Pool(volume, volume, volume + area * step, turn.T @ lowest, low)


def _below(
    free: Manifold, level: float, start: Floats, box: Floats
) -> tuple[float, float, Floats] | None:
    """Volume, half the surface and the lowest point of what stands below a level at the start.

    None if the space that the start lies in runs out to the box below that level.
    """
    around, inside = None, []
    for piece in free.trim_by_plane([0.0, 0.0, -1.0], -level).decompose():
        bounds = np.array(piece.bounding_box())
        volume = float(piece.volume())
        if volume <= 0:
            # A body with free space all around it, seen from that space.
            inside.append((bounds, volume, piece))
        elif np.all(start >= bounds[:3]) and np.all(start <= bounds[3:]) and _holds(piece, start):
            at_rim = (bounds[:3] <= box[:3] + 1e-9).any() or (bounds[3:5] >= box[3:5] - 1e-9).any()
            if at_rim:
                return None
            around = piece
    if around is None:
        return None
    volume = float(around.volume()) + sum(
        taken for _, taken, body in inside if _holds(around, _vertices(body)[0])
    )
    vertices = _vertices(around)
    return volume, float(around.surface_area()) / 2, vertices[int(np.argmin(vertices[:, 2]))]


def _holds(piece: Manifold, point: Floats) -> bool:
    """Does the surface of a piece wind round a point?"""
    import igl

    mesh = piece.to_mesh64()
    faces = np.ascontiguousarray(mesh.tri_verts, np.int64)
    return bool(igl.winding_number(_vertices(piece), faces, point[None].copy())[0] > 0.5)


def _vertices(piece: Manifold) -> Floats:
    return np.ascontiguousarray(piece.to_mesh64().vert_properties[:, :3], np.float64)
