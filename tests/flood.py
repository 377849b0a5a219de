"""What stays in a part by flooding voxels: slow, coarse, and by other means than the program's.

For each level a layer of voxels is opened and `scipy.ndimage` labels what hangs together below it;
what is not joined to the outside at the first level above a voxel stays.
"""

from __future__ import annotations

import numpy as np
from scipy import ndimage


def upright(vertices: np.ndarray, up: np.ndarray) -> np.ndarray:
    """Vertices turned so that `up` is the z axis."""
    up = np.asarray(up, float) / np.linalg.norm(up)
    side = np.cross(np.eye(3)[int(np.argmin(np.abs(up)))], up)
    side /= np.linalg.norm(side)
    return vertices @ np.stack([side, np.cross(up, side), up]).T


def flooded_volume(
    vertices: np.ndarray, faces: np.ndarray, up: np.ndarray, points: int = 48
) -> tuple[float, float]:
    """Volume that stays, mm3, and a voxel's side, mm."""
    turned = upright(vertices, up)
    low, high = turned.min(axis=0), turned.max(axis=0)
    pitch = float((high - low).max()) / points
    axes = [
        np.arange(lo - 2 * pitch, hi + 3 * pitch, pitch) + 1e-4
        for lo, hi in zip(low, high, strict=True)
    ]
    free = free_space(turned, faces, axes)
    whole = ndimage.label(free)[0]
    reachable = whole == whole[0, 0, 0]
    leaves = np.zeros(free.shape, bool)
    for top in range(free.shape[2]):
        label = ndimage.label(free[:, :, : top + 1])[0]
        leaves[:, :, top] = label[:, :, top] == label[0, 0, 0]
    return float((reachable & ~leaves).sum()) * pitch**3, pitch


def free_space(vertices: np.ndarray, faces: np.ndarray, axes: list[np.ndarray]) -> np.ndarray:
    """Which points of a grid lie in no material: facets below each are counted with their side."""
    x, y, z = axes
    crossed = np.zeros((len(x), len(y), len(z) + 1), int)
    for a, b, c in vertices[faces]:
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        i = np.arange(*np.searchsorted(x, (low[0], high[0])))[:, None]
        j = np.arange(*np.searchsorted(y, (low[1], high[1])))[None, :]
        doubled = _turn(a, b, c[0], c[1])
        if doubled == 0 or i.size == 0 or j.size == 0:
            continue
        share = [_turn(p, q, x[i], y[j]) / doubled for p, q in ((b, c), (c, a), (a, b))]
        under = (share[0] > 0) & (share[1] > 0) & (share[2] > 0)
        height = share[0] * a[2] + share[1] * b[2] + share[2] * c[2]
        rows, columns = np.nonzero(under)
        above = np.searchsorted(z, height[under])
        crossed[i[rows, 0], j[0, columns], above] += -1 if doubled > 0 else 1
    return crossed.cumsum(axis=2)[:, :, :-1] < 1


def _turn(p: np.ndarray, q: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Twice the area of the triangle p, q, (x, y), seen from above."""
    return (q[0] - p[0]) * (y - p[1]) - (q[1] - p[1]) * (x - p[0])
