"""Is the width of a gap no less than what a ball needs to get through it?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.open_rims import gap_widths
from lint3d.geometry.topology import edge_table, open_edges


@pytest.mark.parametrize("seed", range(3))
def test_a_rectangle_is_as_wide_as_its_short_side(seed: int) -> None:
    frame = parts.random_frame(seed)
    corners = np.array([[0.0, 0, 0], [7, 0, 0], [7, 2, 0], [0, 2, 0]]) @ frame[:, :3].T
    assert gap_widths(corners, np.array([[0, 1], [1, 2], [2, 3], [3, 0]])) == pytest.approx([2.0])


def test_two_gaps_are_two_and_the_widest_comes_first() -> None:
    vertices, faces = parts.mesh(parts.block([4, 4, 4]) + parts.block([1, 1, 1], [9, 0, 0]))
    lost = [int(np.argmin(vertices[faces].mean(axis=1)[:, 0])), int(np.argmax(faces.sum(axis=1)))]
    kept = np.delete(faces, lost, axis=0)
    found = gap_widths(vertices, open_edges(edge_table(kept, len(vertices))).place)
    assert len(found) == 2
    assert found[0] >= found[1] > 0
    # The circle in half of a square of 4 mm is 2.34 mm wide.
    assert found[0] >= 4 * (2 - np.sqrt(2))


def test_a_slit_between_edges_on_each_other_has_no_width() -> None:
    corners = np.array([[0.0, 0, 0], [5, 0, 0], [0, 0, 0], [5, 0, 0]])
    assert gap_widths(corners, np.array([[0, 1], [2, 3]])) == pytest.approx([0.0, 0.0])


def test_nothing_open_has_no_gap() -> None:
    assert len(gap_widths(np.zeros((0, 3)), np.zeros((0, 2), np.int64))) == 0
