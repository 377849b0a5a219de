"""What is the cross product of two rows of vectors, and which directions are square to each other?

For many short arrays: numpy's own cross product spends thirty times longer on finding out about its
arguments than on three numbers. Tested by tests/geometry/test_vectors.py.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def cross_product(first: Floats, second: Floats) -> Floats:
    """The cross product along the last axis.

    Parameters
    ----------
    first, second : (..., 3) float64, of shapes that go together

    Returns
    -------
    (..., 3) float64 : to the last digit what `numpy.cross` gives
    """
    found = np.empty(np.broadcast_shapes(first.shape, second.shape))
    a, b, c = first[..., 0], first[..., 1], first[..., 2]
    x, y, z = second[..., 0], second[..., 1], second[..., 2]
    np.subtract(b * z, c * y, out=found[..., 0])
    np.subtract(c * x, a * z, out=found[..., 1])
    np.subtract(a * y, b * x, out=found[..., 2])
    return found


def means_of(
    points: Floats, group: NDArray[np.int64], weight: NDArray[Any] | None = None, count: int = 0
) -> Floats:
    """(g, n) mean of the points of each group.

    Parameters
    ----------
    points : (k, n) float64
    group : (k,) int64, from 0
    weight : (k,), how much each counts; None if all count alike
    count : how many groups there are, if the last may be empty; an empty one has its mean at 0
    """
    total = np.maximum(np.bincount(group, weight, count), 1e-300)
    counted = points if weight is None else points * weight[:, None]
    return np.column_stack([np.bincount(group, each, count) / total for each in counted.T])


def square_to(way: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors square to each of some unit vectors and to each other.

    Parameters
    ----------
    way : (k, 3) float64, unit

    Returns
    -------
    one, two : (k, 3) float64 ; `way`, `one`, `two` are right-handed
    """
    one = cross_product(way, np.eye(3)[np.abs(way).argmin(axis=1)])
    one /= np.maximum(np.linalg.norm(one, axis=1), 1e-300)[:, None]
    return one, cross_product(way, one)


def pointing_up(axis: Floats) -> Floats:
    """The same directions (k, 3), turned so that the largest component is positive."""
    largest = np.take_along_axis(axis, np.abs(axis).argmax(axis=1)[:, None], axis=1)
    turned: Floats = axis * np.where(largest < 0, -1.0, 1.0)
    return turned


def square_to_one(way: Floats) -> Floats:
    """Two unit vectors square to one vector and to each other.

    Worked out with plain numbers: some fits and searches ask for tens of thousands, one by one.

    Parameters
    ----------
    way : (3,) float64, unit

    Returns
    -------
    (2, 3) float64 : with `way` they are right-handed
    """
    x, y, z = way.tolist()
    aside = [0.0, 0.0, 0.0]
    aside[int(np.abs(way).argmin())] = 1.0
    one: Floats = np.array(_cross(aside[0], aside[1], aside[2], x, y, z), np.float64)
    one /= np.sqrt(one.dot(one))
    return np.array([one, _cross(x, y, z, *one.tolist())])


def _cross(
    a: float, b: float, c: float, x: float, y: float, z: float
) -> tuple[float, float, float]:
    return b * z - c * y, c * x - a * z, a * y - b * x


def carried_over(way: Floats, one: Floats, two: Floats) -> Floats:
    """A way in one plane, carried on into another about the line in which both meet.

    As on a base that is rolled flat.

    Parameters
    ----------
    way : (3,) float64, in the first plane
    one, two : (3,) float64, unit normals of both, not opposite

    Returns
    -------
    (3,) float64, in the second plane
    """
    carried: Floats = way - (way @ two) / max(1 + float(one @ two), 1e-6) * (one + two)
    return carried


def principal_axes(points: Floats) -> Floats:
    """The directions in which some points spread, least first, as a right-handed frame.

    Parameters
    ----------
    points : (n, 3) float64

    Returns
    -------
    (3, 3) float64 : rows are the axes; points are turned by `points @ axes.T`
    """
    away = points - points.mean(axis=0)
    axes: Floats = np.linalg.eigh(away.T @ away)[1].T
    if np.linalg.det(axes) < 0:
        axes = axes * np.array([[-1.0], [1.0], [1.0]])
    return axes
