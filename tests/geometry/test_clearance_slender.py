"""Pairs left out are surely apart, and of crossed needles hardly any is left."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from lint3d.geometry.clearance_slender import MOST_CORNERS, perhaps_near


def needles(rng: np.random.Generator, count: int, thick: float) -> list[np.ndarray]:
    """Tetrahedra 10 mm long and `thick` mm thick, crosswise in a cube of 10 mm."""
    found = []
    for _ in range(count):
        turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
        corner = rng.normal(size=(4, 3)) * [thick, thick, 3] + rng.uniform(0, 10, 3)
        found.append(corner @ turn.T)
    return found


def all_pairs(count: int) -> np.ndarray:
    return np.stack(np.triu_indices(count, 1), axis=1)


def hulls_meet(one: np.ndarray, two: np.ndarray) -> bool:
    """Is a mix of the corners of one a mix of those of the other? (scipy's linear programs)"""
    equal = np.concatenate([np.concatenate([one, -two]).T, [[1] * len(one) + [0] * len(two)]])
    equal = np.concatenate([equal, [[0] * len(one) + [1] * len(two)]])
    return bool(linprog(np.zeros(equal.shape[1]), A_eq=equal, b_eq=[0, 0, 0, 1, 1]).success)


@pytest.mark.parametrize("thick", [0.01, 1.0])
@pytest.mark.cases(1)
def test_what_is_left_out_does_not_meet(thick: float) -> None:
    bodies = needles(np.random.default_rng(1), 30, thick)
    kept = {tuple(pair) for pair in perhaps_near(bodies, all_pairs(30), 0.0).tolist()}
    meeting = {(a, b) for a, b in all_pairs(30).tolist() if hulls_meet(bodies[a], bodies[b])}
    assert meeting <= kept
    assert len(kept) < len(all_pairs(30)) / 2


def test_hardly_a_pair_of_thin_needles_is_left() -> None:
    bodies = needles(np.random.default_rng(2), 200, 1e-3)
    assert len(perhaps_near(bodies, all_pairs(200), 1e-5)) < 0.02 * len(all_pairs(200))


@pytest.mark.parametrize(("reach", "left"), [(0.0999, 0), (0.1001, 1)])
def test_reach_counts_whatever_the_place(reach: float, left: int) -> None:
    one = np.array([[0.0, 0, 0], [9, 9, 0], [9, 9, 1], [0, 0, 1]])
    two = one + np.array([1.0, -1, 0]) * (0.1 / np.sqrt(2))
    for shift in (0.0, 1e4):
        pair = perhaps_near([one + shift, two + shift], np.array([[0, 1]]), reach)
        assert len(pair) == left


def test_bodies_of_many_corners_and_points_are_kept() -> None:
    many = np.random.default_rng(3).normal(size=(MOST_CORNERS + 1, 3))
    assert len(perhaps_near([many, many + 100], np.array([[0, 1]]), 0.0)) == 1
    point = np.zeros((4, 3))
    assert len(perhaps_near([point, point], np.array([[0, 1]]), 0.0)) == 1
    assert perhaps_near([], np.zeros((0, 2), np.int64), 0.0).shape == (0, 2)
