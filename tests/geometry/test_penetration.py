"""Depths of simple pairs of triangles, by hand."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.geometry.penetration import in_common_plane, penetration_depth_mm

FLAT = [[0, 0, 0], [4, 0, 0], [0, 4, 0]]
CASES = [
    ("apart", [[0, 0, 1], [4, 0, 1], [0, 4, 1]], -1.0),
    ("dips in by a tenth", [[1, 1, -0.1], [1, 1, 1], [2, 1, 1]], 0.1),
    # Shortest way out: square to the upright's slanted side, 0.5 * 2 / 2.5.
    ("crosses with a corner", [[-1, 0.5, -2], [-1, 0.5, 2], [0.5, 0.5, 0]], 0.4),
    ("touches with a corner", [[1, 1, 0], [1, 1, 2], [2, 1, 2]], 0.0),
    ("overlaps in the plane", [[1, 1, 0], [5, 1, 0], [1, 5, 0]], np.sqrt(2)),
    ("lies within", [[0.5, 0.5, 0], [1, 0.5, 0], [0.5, 1, 0]], 1.0),
    ("touches in the plane", [[0, 0, 0], [4, 0, 0], [2, -3, 0]], 0.0),
    ("shares a side", [[4, 0, 0], [0, 0, 0], [1, 1, 1]], 0.0),
    ("folded on a shared side", [[4, 0, 0], [0, 0, 0], [1, 1, 0]], 1.0),
    ("shares a corner only", [[0, 0, 0], [-1, 0, 1], [-1, 1, 1]], 0.0),
]


@pytest.mark.parametrize(("name", "other", "depth"), CASES, ids=[case[0] for case in CASES])
def test_depth(name, other, depth):
    rng = np.random.default_rng(0)
    one, two = np.array([FLAT], float), np.array([other], float)
    for _ in range(5):
        turn, shift = shapes.rotation(rng), rng.uniform(-5, 5, 3)
        pair = one @ turn.T + shift, two @ turn.T + shift
        found = penetration_depth_mm(*pair, 1e-9)[0]
        assert found == pytest.approx(penetration_depth_mm(*pair[::-1], 1e-9)[0], abs=1e-12)
        if name == "apart":
            assert found < 0
        elif name == "lies within":
            # The way out may lead along either triangle's sides.
            assert 0.5 <= found <= depth
        else:
            assert found == pytest.approx(depth, abs=1e-12)


def test_common_planes():
    one = np.array([FLAT, FLAT, FLAT], float)
    two = one + np.array([0, 0, 1.0])[None, None] * np.array([0, 1e-7, 1e-3])[:, None, None]
    assert in_common_plane(one, two, 1e-6).tolist() == [True, True, False]


def test_no_pairs():
    none = np.zeros((0, 3, 3))
    assert len(penetration_depth_mm(none, none, 1e-6)) == 0
