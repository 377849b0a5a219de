"""Is a wall told as free that stands free, and as held where something holds it?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
import shapes_walls as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.free_walls import is_free
from lint3d.geometry.spans_surface import surface_from_mesh


def share(body: Any, low: Any, high: Any, t: float, seed: int) -> float:
    """Share of places, in a box in the middle plane x = t / 2 of a wall, that stand free."""
    turn = Rotation.random(random_state=seed)
    vertices, faces = shapes.arrays(body)
    scene = surface_from_mesh(turn.apply(vertices), faces).scene
    rng = np.random.default_rng(seed)
    places = rng.uniform(low, high, (200, 2))
    points = np.column_stack([np.zeros(200), places])
    contacts = points + [t, 0, 0]
    free = is_free(scene, turn.apply(points), turn.apply(contacts), turn.apply([0.0, 1, 0]))
    return float(free.mean())


BASE = shapes.box([30, 40, 4], [-15, 0, -4])


@pytest.mark.parametrize("seed", range(4))
def test_free(seed: int) -> None:
    t = 0.7
    rib = BASE + shapes.box([t, 20, 8], [0, 10, -1])
    assert share(rib, [10.1, 0.1], [29.9, 6.9], t, seed) == 1
    low = BASE + shapes.box([t, 30, 2], [0, 5, -1])
    assert share(low, [5.1, 0.1], [34.9, 0.9], t, seed) == 1
    assert share(shapes.box([t, 20, 30]), [0.1, 0.1], [19.9, 29.9], t, seed) == 1
    # A window in it holds nothing.
    window = rib - shapes.box([9, 5, 3], [-4, 18, 2])
    assert share(window, [10.1, 0.1], [17.9, 6.9], t, seed) == 1


@pytest.mark.parametrize("seed", range(4))
def test_held(seed: int) -> None:
    t = 0.7
    back = BASE + shapes.box([30, 4, 20], [-15, 0, -4])
    # Half of it lies between the ends of the two sides that are held; lines are 22.5 degrees apart.
    web = back + shapes.box([t, 15, 12], [0, 3, -1])
    assert share(web, [4.2, 0.2], [17.8, 10.8], t, seed) < 0.7
    between = back + shapes.box([30, 4, 20], [-15, 36, -4]) + shapes.box([t, 36, 12], [0, 2, -1])
    assert share(between, [4.2, 0.2], [35.8, 10.8], t, seed) < 0.3
    floor = shapes.box([20, 40, 40]) - shapes.box([20, 20, 20], [t, 10, 10])
    assert share(floor, [10.1, 10.1], [29.9, 29.9], t, seed) == 0
    # The wall of an open box ends at the outer corner, not at a rim of its own.
    cup = shapes.box([20, 20, 20]) - shapes.box([20 - 2 * t, 20 - 2 * t, 20], [t, t, t])
    assert share(cup, [1, 1], [19, 15], t, seed) < 0.05


@pytest.mark.parametrize("seed", range(4))
def test_a_wall_across_holds_as_one_in_a_corner_does(seed: int) -> None:
    """In plan an L held the wall, a T and a cross did not: its line runs on past the junction."""
    t = 0.7
    rib = BASE + shapes.box([t, 40, 12], [0, 0, -1])
    held = {}
    for name, low, length in (("T", t / 2, 10), ("cross", -10, 20), ("low", t / 2, 0.7)):
        both = rib + shapes.box([length, t, 12], [low, 20, -1])
        held[name] = 1 - share(both, [10, 0.2], [30, 10.8], t, seed)
        # A wing far from the junction stands free.
        assert share(both, [0.5, 4], [4, 10.8], t, seed) > 0.75
    corner = BASE + shapes.box([t, 20, 12], [0, 20, -1]) + shapes.box([10, t, 12], [0, 20, -1])
    corner_held = 1 - share(corner, [20.5, 0.2], [30, 10.8], t, seed)
    assert held["T"] == pytest.approx(corner_held, abs=0.12)
    assert held["cross"] == pytest.approx(corner_held, abs=0.12)
    assert held["low"] == 0
    # A rib beside it holds nothing, however near.
    beside = rib + shapes.box([10, t, 12], [t + 0.2, 20, -1])
    assert share(beside, [10, 0.2], [30, 10.8], t, seed) > 0.95


def test_no_places() -> None:
    scene = surface_from_mesh(*shapes.arrays(BASE)).scene
    assert len(is_free(scene, np.zeros((0, 3)), np.zeros((0, 3)), np.array([0.0, 1, 0]))) == 0
