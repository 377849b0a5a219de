"""In which frame is the box around a part small, and what is found there in the part's own frame?

A grid has the size of a box: askew, a part of 200 mm needs up to five times the points. The axes of
the fitted frame are directions in which much of the surface looks, or those of the part's spread.
Lengths in mm. Guarded by tests/geometry/test_voids_frame.py.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat, Way
from lint3d.geometry.vectors import principal_axes
from lint3d.geometry.voids_model import Pocket, SealedPocket, Voids

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Normals are counted in cells of this size.
_ALIKE = 0.02
#: So many directions are tried as first axes.
_MOST_TRIED = 6
#: A second axis stands across the first to this, as a cosine.
_ACROSS = 0.01
#: A frame is turned only if its box is smaller than this times that in the file's frame.
_PAYS = 0.85


def fitted_axes(vertices: Floats, faces: Ints) -> Floats:
    """(3, 3) rows are the axes of a frame in which the box is small; the file's own if they do.

    Points are turned by `points @ axes.T`, and back by `points @ axes`.

    Parameters
    ----------
    vertices : (n, 3) float64, mm
    faces : (m, 3) int64
    """
    corner = vertices[faces]
    across = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    area = np.linalg.norm(across, axis=1)
    points = vertices[np.unique(faces)]
    tried = [*_square_frames(across[area > 0], area[area > 0]), principal_axes(points)]
    best, best_volume = np.eye(3), _PAYS * _box_volume(points, np.eye(3))
    for axes in tried:
        volume = _box_volume(points, axes)
        if volume < best_volume:
            best, best_volume = axes, volume
    return best


def _square_frames(across: Floats, area: Floats) -> list[Floats]:
    """Frames of directions that much of the surface looks in."""
    if len(across) == 0:
        return []
    normal = across / area[:, None]
    # One of two opposite directions stands for both.
    first = np.argmax(np.abs(normal) > _ALIKE, axis=1)
    normal = normal * np.where(normal[np.arange(len(normal)), first] < 0, -1.0, 1.0)[:, None]
    cell = np.floor(normal / _ALIKE + 0.5).astype(np.int64)
    of_cell = np.unique(cell, axis=0, return_inverse=True)[1].reshape(-1)
    weight = np.bincount(of_cell, area)
    largest = np.argsort(-weight, kind="stable")
    frames = []
    for one in largest[:_MOST_TRIED].tolist():
        # The largest face of a cell: a mean of many would be off by what they differ.
        axis = normal[_largest_of(of_cell == one, area)]
        level = np.abs(normal @ axis) < _ACROSS
        if not level.any():
            continue
        beside = np.bincount(of_cell[level], area[level], len(weight))
        second = normal[_largest_of(level & (of_cell == int(np.argmax(beside))), area)]
        second = second - (second @ axis) * axis
        second /= np.linalg.norm(second)
        frames.append(np.array([axis, second, np.cross(axis, second)]))
    return frames


def _largest_of(rows: NDArray[np.bool_], area: Floats) -> int:
    return int(np.argmax(np.where(rows, area, -1.0)))


def _box_volume(points: Floats, axes: Floats) -> float:
    return float(np.prod(np.ptp(points @ axes.T, axis=0)))


def turned_back(voids: Voids, axes: Floats) -> Voids:
    """The same hollows in the frame of the file; grids and clearance stay in the fitted frame.

    Parameters
    ----------
    axes : those that the surface was turned by before it was searched
    """
    throats: dict[int, Throat] = {}

    def turned(throat: Throat) -> Throat:
        if id(throat) not in throats:
            throats[id(throat)] = replace(
                throat,
                position=throat.position @ axes,
                direction=throat.direction @ axes,
                way=Way(throat.way.point @ axes, throat.way.width),
            )
        return throats[id(throat)]

    def pocket_turned(pocket: Pocket) -> Pocket:
        return replace(
            pocket,
            position=pocket.position @ axes,
            openings=tuple(replace(one, throat=turned(one.throat)) for one in pocket.openings),
            throat=turned(pocket.throat),
            way=pocket.way @ axes,
            bridge=turned(pocket.bridge) if pocket.bridge is not None else None,
        )

    def sealed_turned(pocket: SealedPocket) -> SealedPocket:
        return replace(pocket, position=pocket.position @ axes)

    graph = voids.graph
    if graph is not None:
        graph = graph.copy()
        for _, data in graph.nodes(data=True):
            if data["position"] is not None:
                data["position"] = _point(np.array(data["position"]) @ axes)
        for *_, data in graph.edges(data=True):
            data["throat"] = turned(data["throat"])
            data["position"] = _point(np.array(data["position"]) @ axes)
    return replace(
        voids,
        sealed=[sealed_turned(one) for one in voids.sealed],
        pockets=[pocket_turned(one) for one in voids.pockets],
        graph=graph,
        left_out=[
            replace(one, position=one.position and _point(np.array(one.position) @ axes))
            for one in voids.left_out
        ],
    )


def _point(place: Floats) -> tuple[float, float, float]:
    x, y, z = place.tolist()
    return x, y, z
