"""What stays in a part by flooding voxels: slow, coarse, and by other means than the program's.

For each level a layer of voxels is opened and `scipy.ndimage` labels what hangs together below it;
what is not joined to the outside at the first level above a voxel stays.
"""

from __future__ import annotations

import igl
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
    grid = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    flat = np.ascontiguousarray(grid.reshape(-1, 3))
    winding = igl.fast_winding_number(
        np.ascontiguousarray(turned), np.ascontiguousarray(faces.astype(np.int64)), flat
    )
    free = (np.asarray(winding) < 0.5).reshape(grid.shape[:3])
    whole = ndimage.label(free)[0]
    reachable = whole == whole[0, 0, 0]
    leaves = np.zeros(free.shape, bool)
    for top in range(free.shape[2]):
        label = ndimage.label(free[:, :, : top + 1])[0]
        leaves[:, :, top] = label[:, :, top] == label[0, 0, 0]
    return float((reachable & ~leaves).sum()) * pitch**3, pitch
