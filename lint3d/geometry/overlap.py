"""How much room do two bodies claim both?

The common volume is exact (manifold3d). Bodies that only touch have none; a body wholly inside
another's material keeps a distance from its surface and is found by the winding number of a corner.
Lengths in mm. Guarded by tests/geometry/test_overlap.py.
"""

from __future__ import annotations

from dataclasses import dataclass

import igl
import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.clearance import Surface
from lint3d.geometry.overlap_depth import largest_ball

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class NoSolid(Exception):
    """A body is no solid of which a volume could be cut; `which` is 0 or 1, None if unknown."""

    def __init__(self, which: int | None) -> None:
        super().__init__(which)
        self.which = which


@dataclass(frozen=True, eq=False)
class Overlap:
    """The common volume of two bodies."""

    volume: float
    """mm3"""
    uncertainty: float
    """mm3, through the rounding of coordinates"""
    box: Floats
    """(2, 3) mm, lowest and highest corner"""
    depth: float
    """mm, the largest ball that the common volume holds (its largest piece)"""
    pieces: int
    position: Floats
    """(3,) mm, a point of the largest piece"""


def contains(outer: Surface, point: Floats) -> bool:
    """Does the point lie in the material of a closed body? (Not where it lies on its surface.)"""
    number = igl.winding_number(
        np.ascontiguousarray(outer.vertices - point),
        np.ascontiguousarray(outer.faces, np.int64),
        np.zeros((1, 3)),
    )
    return bool(abs(float(np.asarray(number).ravel()[0])) > 0.5)


def may_contain(outer: Surface, inner: Surface) -> bool:
    """Does the box of one body hold that of the other? A body without area is held by none."""
    if not len(inner.corners):
        return False
    return bool((outer.low <= inner.low).all() and (outer.high >= inner.high).all())


def common_volume(one: Surface, two: Surface) -> Overlap | None:
    """What two closed bodies have in common; None if nothing.

    Raises
    ------
    NoSolid : the faces of one do not join as in a solid
    """
    origin = 0.5 * (np.maximum(one.low, two.low) + np.minimum(one.high, two.high))
    solids = [_solid(body, origin, which) for which, body in enumerate((one, two))]
    common = solids[0] ^ solids[1]
    if str(common.status()) != "Error.NoError":
        raise NoSolid(None)
    if common.is_empty():
        return None
    pieces = sorted(common.decompose(), key=lambda piece: -piece.volume())
    box = np.reshape(common.bounding_box(), (2, 3)) + origin
    step = one.uncertainty_mm + two.uncertainty_mm
    vertices, faces = _arrays(pieces[0])
    return Overlap(
        float(common.volume()),
        step * float(common.surface_area()),
        box,
        largest_ball(vertices[faces]),
        len(pieces),
        vertices[faces].mean(axis=(0, 1)) + origin,
    )


def _solid(body: Surface, origin: Floats, which: int):  # type: ignore[no-untyped-def]
    import manifold3d

    used, faces = np.unique(body.faces, return_inverse=True)
    mesh = manifold3d.Mesh64(
        np.ascontiguousarray(body.vertices[used] - origin),
        np.ascontiguousarray(faces.reshape(-1, 3), np.uint64),
    )
    solid = manifold3d.Manifold(mesh)
    if str(solid.status()) != "Error.NoError":
        raise NoSolid(which)
    return solid


def _arrays(solid) -> tuple[Floats, Ints]:  # type: ignore[no-untyped-def]
    mesh = solid.to_mesh64()
    return (
        np.asarray(mesh.vert_properties, np.float64)[:, :3],
        np.asarray(mesh.tri_verts).astype(np.int64),
    )
