"""Any two faces whose boxes meet are handed out together, and none much too often."""

import numpy as np
import pytest
import shapes_basic as shapes

from lint3d.geometry import face_boxes
from lint3d.geometry.face_boxes import face_boxes as boxes_around
from lint3d.geometry.face_boxes import mean_overlaps, portions_to_compare


def soup(rng, count, size):
    corner = rng.uniform(0, 10, (count, 1, 3)) + rng.normal(0, size, (count, 3, 3))
    return corner.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3)


def needles(rng, count):
    """Long thin faces side by side, lying aslant."""
    start = np.column_stack([rng.uniform(0, 10, (count, 2)), np.zeros(count)])
    corner = start[:, None] + np.array([[0, 0, 0], [0, 0, 50.0], [1e-3, 0, 25]])
    return corner.reshape(-1, 3) @ shapes.rotation(rng).T, np.arange(3 * count).reshape(-1, 3)


@pytest.mark.parametrize("size", [0.05, 0.5])
def test_no_pair_is_lost(monkeypatch, size):
    monkeypatch.setattr(face_boxes, "_FACES_IN_BOX", 30)
    monkeypatch.setattr(face_boxes, "_FACES_IN_CALL", 90)
    rng = np.random.default_rng(0)
    vertices, faces = soup(rng, 1500, size)
    chart = rng.integers(-1, 2, 1500)
    found = boxes_around(vertices, faces, chart, None, 0.0)
    together = np.zeros((1500, 1500), bool)
    for portion in portions_to_compare(found):
        assert portion.frame is None
        together[np.ix_(portion.rows, portion.rows)] = True
    meets = (found.low[:, None] <= found.high[None]).all(axis=2)
    meets &= meets.T
    must = meets & ((chart[:, None] != chart[None]) | (chart < 0)[:, None])
    np.fill_diagonal(must, False)
    assert not (must & ~together).any()


def test_one_chart_is_dropped():
    vertices, faces = soup(np.random.default_rng(1), 2000, 0.1)
    found = boxes_around(vertices, faces, np.zeros(2000, np.int64), None, 0.0)
    assert list(portions_to_compare(found)) == []


def test_shifted_faces_are_not_handed_out_in_each_others_boxes(monkeypatch):
    monkeypatch.setattr(face_boxes, "_FACES_IN_CALL", 1)
    vertices, faces = soup(np.random.default_rng(2), 2000, 0.1)
    shift = np.arange(2000) % 2 * 1000.0
    found = boxes_around(vertices, faces, np.full(2000, -1), shift, 0.0)
    portions = [portion.rows % 2 for portion in portions_to_compare(found)]
    assert sum(map(len, portions)) < 4 * 2000
    assert all(len(set(part)) == 1 for part in portions)


def test_slanting_needles_are_cut_in_a_turned_frame():
    vertices, faces = needles(np.random.default_rng(3), 20_000)
    found = boxes_around(vertices, faces, np.full(20_000, -1), None, 0.0)
    portions = list(portions_to_compare(found))
    assert sum(len(portion.rows) for portion in portions) < 8 * 20_000
    turned = [portion for portion in portions if portion.frame is not None]
    assert turned
    frame = turned[0].frame
    assert frame @ frame.T == pytest.approx(np.eye(3), abs=1e-12)
    corner = (vertices @ frame.T)[faces[turned[0].rows]]
    boxes = corner.min(axis=1), corner.max(axis=1)
    assert mean_overlaps(boxes, boxes) < 20


def test_overlaps_are_counted():
    low = np.arange(100.0)[:, None] * [1, 0, 0]
    boxes = low, low + [2.5, 1, 1]
    assert mean_overlaps(boxes, boxes) == pytest.approx(5, abs=0.5)
    nothing = np.zeros((0, 3)), np.zeros((0, 3))
    assert mean_overlaps(nothing, nothing) == 0
