"""Which bodies are held? Hinges, cages, chains and what only looks like them."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from shapes_pairs import ball, barrel, box, cage, headed_pin, in_frame, mesh, rod

from lint3d.geometry.captive import way_out
from lint3d.geometry.captive_sweep import is_free
from lint3d.geometry.clearance import Surface
from lint3d.geometry.clearance_spots import near_spots


def ring(radius: float, wire: float) -> m3.Manifold:
    return m3.Manifold.revolve(m3.CrossSection.circle(wire, 24).translate([radius, 0]), 48)


def groove(height: float, low: float, half_low: float, half_top: float) -> m3.Manifold:
    outline = [(-half_low, low), (half_low, low), (half_top, height), (-half_top, height)]
    return m3.Manifold.extrude(m3.CrossSection([outline]), 40).translate([0, 0, -20])


HELD = {
    "ball in a cage": (cage(10, 8, 4), ball(6, 40)),
    "loose ball in a cage": (cage(10, 8, 4), ball(4.3, 40)),
    "headed pin in a barrel": (barrel(3.3, 6, -5, 5, 64), headed_pin(3, 5, 11, 64)),
    "close fit with heads": (barrel(12.5, 20, -25, 25, 96), headed_pin(12.4965, 15, 50.1, 96)),
    "box in a closed box": (box([20] * 3) - box([16] * 3, [2] * 3), box([9] * 3, [5] * 3)),
    "links of a chain": (ring(5, 1), ring(5, 1).rotate([90, 0, 0]).translate([5, 0, 0])),
}
FREE = {
    "ball that a window lets out": (cage(10, 8, 4), ball(3.8, 40)),
    "plain pin": (barrel(3.3, 6, -5, 5, 64), rod(3, -8, 8, 64)),
    "pin in a blind hole": (
        barrel(3.3, 6, -5, 5, 64) + rod(6, -8, -5, 64),
        rod(3, -4.9, 8, 64),
    ),
    "running fit": (barrel(12.5, 20, -25, 25, 420), rod(12.4965, -30, 30, 420)),
    "box in an open box": (box([20] * 3) - box([16] * 3, [2, 2, 4]), box([9] * 3, [5] * 3)),
    "dovetail slide": (
        box([20, 10, 40], [-10, 0, -20]) - groove(10.01, 4, 3, 1.5).scale([1, 1, 1.2]),
        groove(12, 4.2, 2.7, 1.0).scale([1, 1, 0.9]),
    ),
    "hook beside a hook": (
        box([10, 2, 4]) + box([2, 8, 4]) + box([5, 2, 4], [0, 6, 0]),
        box([9.5, 2, 4], [2.5, 3, 0]) + box([1.5, 9, 4], [10.5, 3, 0]),
    ),
    "boxes side by side": (box([5] * 3), box([5] * 3, [5.3, 0, 0])),
    "boxes that touch": (box([5] * 3), box([5] * 3, [5, 1, 1])),
}


def direction_out(one, two, seed):
    meshes = in_frame([mesh(one), mesh(two)], np.random.default_rng(seed))
    pair = [Surface(v.astype(np.float32).astype(float), f) for v, f in meshes]
    spots = near_spots(*pair, [0.6])
    rows = np.concatenate([np.zeros(0, int), *(spot.faces for spot in spots)])
    corners = pair[0].vertices[pair[0].faces[np.unique(rows)]]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    return way_out(*pair, normal / np.linalg.norm(normal, axis=1)[:, None]), pair


@pytest.mark.parametrize("seed", [0, 7])
@pytest.mark.parametrize("name", HELD)
@pytest.mark.cases(1)
def test_held(name, seed):
    assert direction_out(*HELD[name], seed)[0] is None
    assert direction_out(*HELD[name][::-1], seed)[0] is None


@pytest.mark.parametrize("seed", [0, 7])
@pytest.mark.parametrize("name", FREE)
@pytest.mark.cases(1)
def test_free(name, seed):
    direction, (one, two) = direction_out(*FREE[name], seed)
    assert np.linalg.norm(direction) == pytest.approx(1)
    # Moved on in steps along it, the second body never has anything in common with the first.
    solids = [m3.Manifold(m3.Mesh64(s.vertices, s.faces.astype(np.uint64))) for s in (one, two)]
    for step in np.linspace(0, 80, 24):
        assert (solids[0] ^ solids[1].translate(list(direction * step))).volume() < 0.02
    assert direction_out(*FREE[name][::-1], seed)[0] is not None


def test_only_an_edge_runs_into_an_edge():
    """Crossed bars on edge, one above the other: no corner of either meets the other."""
    low = mesh(box([40, 2, 2], [-20, -1, -1]).rotate([45, 0, 0]))
    high = mesh(box([2, 40, 2], [-1, -20, -1]).rotate([0, 45, 0]).translate([0, 0, 9]))
    still, moving = low[0][low[1]], high[0][high[1]]
    assert not is_free(still, moving, np.array([0.0, 0, -1]), 1e-5)
    assert is_free(still, moving, np.array([0.0, 0, 1]), 1e-5)
