"""Are gaps closed where it is clear how, and left where it is not?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import CrossSection, Manifold

from lint3d.geometry.open_lids import Lids, lids_of
from lint3d.geometry.topology import edge_table, open_edges


def closed_by(vertices: np.ndarray, faces: np.ndarray, narrow: float) -> tuple[np.ndarray, Lids]:
    """All faces with the lids."""
    lids = lids_of(vertices, edge_table(faces, len(vertices)), narrow)
    return np.concatenate([faces, lids.faces]), lids


def volume(vertices: np.ndarray, faces: np.ndarray) -> float:
    a, b, c = (vertices[faces[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def is_closed(vertices: np.ndarray, faces: np.ndarray) -> bool:
    return len(open_edges(edge_table(faces, len(vertices)))) == 0


@pytest.mark.parametrize("seed", range(3))
def test_missing_faces_are_put_back(seed: int) -> None:
    solid = parts.block([9, 9, 9]) - parts.ball(3, segments=24)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    random = np.random.default_rng(seed)
    kept = np.delete(faces, random.choice(len(faces), 3, replace=False), axis=0)
    closed, lids = closed_by(vertices, kept, 0.1)
    assert is_closed(vertices, closed)
    assert lids.gaps_left == 0
    assert abs(volume(vertices, closed) - solid.volume()) <= lids.doubt + 1e-6


def test_a_flat_side_that_is_no_convex_polygon() -> None:
    ell = Manifold.extrude(
        CrossSection([np.array([[0.0, 0], [9, 0], [9, 2], [2, 2], [2, 9], [0, 9]])]), 4
    )
    vertices, faces = parts.mesh(ell)
    kept = faces[(vertices[faces][:, :, 2] < 3.9).any(axis=1)]
    closed, lids = closed_by(vertices, kept, 0.1)
    assert is_closed(vertices, closed)
    assert lids.doubt == pytest.approx(0, abs=1e-9)
    # All lids lie in the side that is missing, none across the inner corner.
    corner = vertices[lids.faces]
    area = np.linalg.norm(
        np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]), axis=1
    )
    assert area.sum() / 2 == pytest.approx(9 * 2 + 7 * 2)


@pytest.mark.parametrize(("narrow", "left"), [(0.5, 1), (9.0, 0)])
def test_a_bent_gap_is_closed_if_it_is_narrow(narrow: float, left: int) -> None:
    vertices, faces = parts.mesh(parts.ball(5, segments=32))
    kept = faces[vertices[faces].mean(axis=1)[:, 0] < 3.5]
    bent = kept[
        ~((vertices[kept].mean(axis=1)[:, 0] > 2) & (vertices[kept].mean(axis=1)[:, 1] > 0))
    ]
    closed, lids = closed_by(vertices, bent, narrow)
    assert lids.gaps_left == left
    assert is_closed(vertices, closed) == (left == 0)


def test_rims_that_meet_in_a_corner_are_left() -> None:
    vertices, faces = parts.mesh(parts.block([4, 4, 4]))
    around = np.flatnonzero((faces == faces[0, 0]).any(axis=1))
    apart = [row for row in around[1:] if len(np.intersect1d(faces[row], faces[around[0]])) == 1]
    kept = np.delete(faces, [around[0], apart[0]], axis=0)
    closed, lids = closed_by(vertices, kept, 0.1)
    assert lids.gaps_left > 0
    assert len(closed) >= len(kept)


def test_nothing_open() -> None:
    vertices, faces = parts.mesh(parts.block([4, 4, 4]))
    closed, lids = closed_by(vertices, faces, 1.0)
    assert len(closed) == len(faces)
    assert (lids.doubt, lids.gaps_left) == (0.0, 0)
