"""From where is a place seen best, and where must the part be cut open to see it?

Views are orthographic. Of many directions the one wins from which most of the place can be seen;
what no direction shows is shown in a section. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from lint3d.inspection import Result
from lint3d.report.picture_stage import Stage

Floats = NDArray[np.float64]

#: Less of a place than this, seen from the best side, counts as hidden.
HIDDEN = 0.08
#: From near no more than this share of the part is shown. A body that is as large and held by
#: another is shown cut open, to see by what.
LARGE = 0.5
#: From where people like to look at a part: from the front, a little to the right and above.
LIKED = np.array([0.45, -0.75, 0.5]) / np.linalg.norm([0.45, -0.75, 0.5])
#: Points of a place that are looked for from every side.
_PROBES = 96


@dataclass(frozen=True, eq=False)
class Plane:
    """What lies on the side of the normal is cut away."""

    point: Floats
    normal: Floats


@dataclass(frozen=True, eq=False)
class View:
    """An orthographic camera.

    Parameters
    ----------
    eye : (3,) unit vector from the part to the viewer
    centre : (3,) mm, what stands in the middle of the picture
    pixel : mm, width of a pixel
    """

    eye: Floats
    centre: Floats
    pixel: float
    plane: Plane | None = None

    @property
    def axes(self) -> Floats:
        """(3, 3) rows: to the right, upward, to the viewer."""
        upward = np.array([0.0, 0.0, 1.0])
        if abs(self.eye[2]) > 0.98:
            upward = np.array([0.0, np.sign(self.eye[2]), 0.0])
        right = np.cross(upward, self.eye)
        right /= np.linalg.norm(right)
        return np.array([right, np.cross(self.eye, right), self.eye])

    def projected(self, points: Floats, size: tuple[int, int]) -> Floats:
        """(k, 2) pixels from the upper left corner, for points (k, 3) mm."""
        flat = (np.asarray(points, np.float64).reshape(-1, 3) - self.centre) @ self.axes[:2].T
        return flat / self.pixel * [1, -1] + np.array(size) / 2


@dataclass(frozen=True, eq=False)
class Shot:
    """How a result is photographed: the part with the place, and the place from near."""

    main: View
    near: View
    hidden: bool


def shot(stage: Stage, result: Result, main: tuple[int, int], near: tuple[int, int]) -> Shot:
    """Choose the views for a result.

    Parameters
    ----------
    main, near : width and height of the two pictures, in pixels
    """
    focus = focus_of(result, stage)
    points, normals = _probes(result, focus)
    line = _line(result)
    eye, seen = best_eye(stage, points, normals, line)
    hidden = seen < HIDDEN
    plane = _section(stage, result, focus, line)
    whole = stage.box
    width = _near_width(stage, result)
    if hidden:
        main_eye = _aslant(plane.normal)
        main_view = fitted(main_eye, whole, main, plane)
    else:
        main_view = fitted(eye, whole, main)
    held = result.other is not None and width >= LARGE * stage.size
    if hidden or held or line is not None:
        near_view = View(plane.normal, focus, width / near[0], plane)
    else:
        near_view = View(eye, focus, width / near[0])
    return Shot(main_view, near_view, hidden)


def fitted(
    eye: Floats, box: Floats, size: tuple[int, int], plane: Plane | None = None, margin: float = 0.1
) -> View:
    """The view from `eye` that holds the whole box (2, 3)."""
    corners = np.array(list(product(*box.T)))
    axes = View(eye, np.zeros(3), 1.0).axes
    flat = corners @ axes[:2].T
    low, high = flat.min(axis=0), flat.max(axis=0)
    pixel = float(((high - low) / (np.array(size) * (1 - margin))).max())
    centre = box.mean(axis=0)
    middle = (low + high) / 2 - axes[:2] @ centre
    return View(eye, centre + middle @ axes[:2], max(pixel, 1e-9), plane)


def focus_of(result: Result, stage: Stage) -> Floats:
    """(3,) mm, what the pictures of a result are about."""
    if result.position is not None:
        return np.array(result.position)
    if result.triangles is not None and len(result.triangles):
        return result.triangles[0].mean(axis=0)
    return stage.middle


def best_eye(
    stage: Stage, points: Floats, normals: Floats, line: Floats | None = None
) -> tuple[Floats, float]:
    """The direction to the viewer from which most of the points are seen, and their share.

    Parameters
    ----------
    points, normals : (k, 3); a point counts by how squarely its surface is seen; a normal of
        zeros is a point in space
    line : (3,) a dimension, which should not be looked at end on
    """
    eyes = candidates()
    seen = np.array([_seen(stage, points, normals, eye) for eye in eyes])
    liking = (0.8 + 0.2 * (eyes @ LIKED)) * np.where(eyes[:, 2] < 0, 0.8, 1.0)
    if line is not None:
        liking *= 0.6 + 0.4 * np.sqrt(1 - np.clip(eyes @ line, -1, 1) ** 2)
    if seen.max() < HIDDEN:
        return LIKED, float(seen.max())
    best = int(np.argmax(seen * liking))
    return eyes[best], float(seen[best])


def candidates() -> Floats:
    """(k, 3) unit vectors: two dozen directions all around, none along an axis but for z."""
    around = np.radians(np.arange(12) * 30 - 60)
    found = [LIKED]
    for height in (0.5, -0.55):
        found += [np.array([np.cos(a), np.sin(a), height]) for a in around]
    found += [np.array([0.25, -0.35, 1.0]), np.array([0.25, -0.35, -1.0])]
    eyes = np.array(found)
    return eyes / np.linalg.norm(eyes, axis=1, keepdims=True)


def _seen(stage: Stage, points: Floats, normals: Floats, eye: Floats) -> float:
    """How much of a place is seen: 1 if all of it faces the viewer, with nothing before it."""
    facing = normals @ eye
    square = np.where((normals != 0).any(axis=1), facing.clip(0), 1.0)
    rows = np.flatnonzero(square > 0.02)
    if not len(rows):
        return 0.0
    start = points[rows] + normals[rows] * 1e-5 * stage.size
    toward = np.broadcast_to(eye, start.shape).copy()
    free = stage.rays.first_facet(start, toward, 2 * stage.size) < 0
    return float((np.sqrt(square[rows]) * free).sum() / len(points))


def _probes(result: Result, focus: Floats) -> tuple[Floats, Floats]:
    """Points spread over a place, with the normals of its surface."""
    triangles = result.triangles
    if triangles is None or not len(triangles):
        return focus[None], np.zeros((1, 3))
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    area = np.linalg.norm(normal, axis=1)
    if not area.sum() > 0:
        return focus[None], np.zeros((1, 3))
    step = (np.arange(_PROBES) + 0.5) / _PROBES
    row = np.searchsorted(np.cumsum(area), step * area.sum()).clip(0, len(area) - 1)
    # Halton's second and third column, folded into the triangle: spread, and always the same.
    u, v = _halton(2), _halton(3)
    fold = u + v > 1
    u, v = np.where(fold, 1 - u, u), np.where(fold, 1 - v, v)
    weight = np.column_stack([1 - u - v, u, v])
    points = np.einsum("ij,ijk->ik", weight, triangles[row])
    return points, normal[row] / np.where(area[row] > 0, area[row], 1.0)[:, None]


def _halton(base: int) -> Floats:
    found = np.zeros(_PROBES)
    number, share = np.arange(1, _PROBES + 1), 1.0
    while number.any():
        share /= base
        found += share * (number % base)
        number //= base
    return found


def _line(result: Result) -> Floats | None:
    """(3,) the direction of the dimension; the way out where that is what is told."""
    if result.ends is not None:
        step = np.subtract(result.ends[1], result.ends[0])
    elif len(result.path) > 1:
        step = np.subtract(result.path[-1].position, result.path[0].position)
    else:
        return None
    length = float(np.linalg.norm(step))
    return step / length if length > 0 else None


def _section(stage: Stage, result: Result, focus: Floats, line: Floats | None) -> Plane:
    """The plane to cut a part open by, so that a dimension or a way lies in it."""
    normal = None
    if len(result.path) > 2 and result.ends is None:
        way = np.array([step.position for step in result.path]) - focus
        _, spread, directions = np.linalg.svd(way, full_matrices=False)
        if spread[1] > 0.1 * spread[0]:
            normal = directions[2]
    if normal is None:
        normal = _across(result, line)
    normal = normal * (1.0 if normal @ LIKED >= 0 else -1.0)
    return Plane(focus + normal * 1e-6 * stage.size, normal)


def _across(result: Result, line: Floats | None) -> Floats:
    """The axis of the frame nearest to square with the line, and along which the place is short."""
    triangles = result.triangles
    long = np.ones(3)
    if triangles is not None and len(triangles):
        extent = np.ptp(triangles.reshape(-1, 3), axis=0)
        long = 1.0 + extent / max(float(extent.max()), 1e-9)
    axes = np.eye(3)
    if line is None:
        return axes[int(np.lexsort((np.array([1, 0, 2]), long.round(3)))[0])]
    aside = axes - np.outer(line, line)
    length = np.linalg.norm(aside, axis=1)
    best = int(np.argmax(length.round(3) * 10 - np.array([0.001, 0.0, 0.002])))
    return aside[best] / length[best]


def _aslant(normal: Floats) -> Floats:
    """From where a section is looked at so that it reads as one: a little from the side."""
    eye = normal + 0.5 * LIKED
    if abs(normal @ LIKED) > 0.95:
        eye = normal
    return eye / np.linalg.norm(eye)


def _near_width(stage: Stage, result: Result) -> float:
    """mm that the close picture is wide."""
    if result.ends is not None:
        wanted = 9 * float(np.linalg.norm(np.subtract(result.ends[1], result.ends[0])))
    elif (narrow := narrowest(result)) is not None and narrow[1]:
        wanted = 7 * narrow[1]
    elif result.triangles is not None and len(result.triangles):
        extent = np.ptp(result.triangles.reshape(-1, 3), axis=0)
        wanted = 1.6 * float(np.linalg.norm(extent))
    else:
        wanted = stage.size / 5
    return float(np.clip(wanted, stage.size / 2000, stage.size * LARGE))


def narrowest(result: Result) -> tuple[tuple[float, float, float], float] | None:
    """Where a way out is narrowest, and how wide it is there; None without a way."""
    wide: Sequence[tuple[float, tuple[float, float, float]]] = [
        (step.value, step.position) for step in result.path if step.value is not None
    ]
    if not wide:
        return None
    value, position = min(wide, key=lambda pair: pair[0])
    return position, value
