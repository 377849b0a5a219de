"""Which hollow does each shell bound?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.voids_shells import shell_regions
from lint3d.geometry.voids_union import united


def test_nested_shells() -> None:
    solid = parts.block([24, 24, 24]) - parts.ball(10) + parts.ball(5) - parts.ball(3)
    found = shell_regions(*parts.mesh(solid, parts.random_frame(1)))
    order = np.argsort(-np.abs(found.volume))
    assert found.depth[order].tolist() == [0, 1, 2, 3]
    block, hollow, loose, inner = order.tolist()
    assert found.region[[block, hollow, loose, inner]].tolist() == [-1, hollow, hollow, inner]
    assert sorted(found.cavities().tolist()) == sorted([hollow, inner])


def test_union_of_overlapping_bodies_keeps_their_hollows() -> None:
    one = parts.block([10, 10, 10]) - parts.ball(3)
    two = parts.block([10, 10, 10], [8, 0, 0])
    (v1, f1), (v2, f2) = parts.mesh(one), parts.mesh(two)
    vertices, faces = np.vstack([v1, v2]), np.vstack([f1, f2 + len(v1)])
    joined = united(vertices, faces, shell_regions(vertices, faces).of_face)
    assert joined is not None
    found = shell_regions(*joined)
    assert len(found.cavities()) == 1
    assert found.volume.sum() == pytest.approx(18 * 10 * 10 - parts.ball(3).volume(), rel=1e-6)
