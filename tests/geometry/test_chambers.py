"""Are chambers, saddles and widest ways those that a slow search finds?

References: scipy.ndimage labels (threshold search for the widest way) and networkx's spanning tree.
"""

from __future__ import annotations

import edt
import networkx as nx
import numpy as np
import pytest
from scipy import ndimage

from lint3d.geometry.chambers import find_basins, join_basins
from lint3d.geometry.chambers_rooms import wide_rooms


def _world(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A random blobby world with a free rim: which points are solid, and distances."""
    generator = np.random.default_rng(seed)
    noise = ndimage.gaussian_filter(generator.normal(size=(26, 24, 28)), 1.6)
    solid = noise > np.quantile(noise, generator.uniform(0.25, 0.5))
    for axis in range(3):
        for end in (0, 1, -1, -2):
            solid[(slice(None),) * axis + (end,)] = False
    return solid, edt.edt((~solid).view(np.uint8))


def _widest_by_search(distance: np.ndarray, start: int) -> float:
    """Largest level at which a point hangs together with the rim, by labelling at every level."""
    best = 0.0
    rim = np.zeros(distance.shape, bool)
    for axis in range(3):
        for end in (0, -1):
            rim[(slice(None),) * axis + (end,)] = True
    for level in np.unique(distance[distance > 0]):
        if level > distance.reshape(-1)[start]:
            break
        label, _ = ndimage.label((distance >= level) | rim)
        if label.reshape(-1)[start] == label[0, 0, 0] != 0:
            best = float(level)
    return best


@pytest.mark.parametrize("seed", range(12))
def test_widest_way_out_equals_brute_force(seed: int) -> None:
    solid, distance = _world(seed)
    number, rooms = wide_rooms(distance, 4.0)
    distance[number == 0] = np.inf
    basins = find_basins(distance, solid, number, rooms)
    chambers = join_basins(basins)
    tops = [b for b in range(1, len(basins.peak)) if basins.peak[b] > 1.5][:12]
    for basin in tops:
        level, here = np.inf, basin
        while chambers.parent[here] >= 0:
            level = min(level, chambers.level[here])
            here = int(chambers.parent[here])
        found = level if here == 0 else 0.0
        expected = _widest_by_search(distance, int(basins.top[basin]))
        assert min(found, basins.peak[basin], 4.0) == pytest.approx(min(expected, 4.0), abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_pieces_are_those_of_scipy(seed: int) -> None:
    solid, distance = _world(seed)
    number, rooms = wide_rooms(distance, 3.0)
    distance[number == 0] = np.inf
    chambers = join_basins(basins := find_basins(distance, solid, number, rooms))
    label, _ = ndimage.label(~solid)
    free = ~solid
    part = chambers.part[chambers.of_basin[basins.label[free]]]
    pairs = np.unique(np.column_stack([part, label[free]]), axis=0)
    assert len(pairs) == len(np.unique(pairs[:, 0])) == len(np.unique(pairs[:, 1]))
    assert (basins.label[solid] == -1).all()


@pytest.mark.parametrize("seed", range(6))
def test_tree_is_a_maximum_spanning_tree(seed: int) -> None:
    solid, distance = _world(seed)
    number, rooms = wide_rooms(distance, 3.0)
    distance[number == 0] = np.inf
    basins = find_basins(distance, solid, number, rooms)
    chambers = join_basins(basins)
    graph = nx.Graph()
    graph.add_weighted_edges_from(
        (int(a), int(b), float(s)) for (a, b), s in zip(basins.pair, basins.saddle, strict=True)
    )
    expected = sum(graph.edges[e]["weight"] for e in nx.maximum_spanning_edges(graph, data=False))
    assert np.nansum(chambers.level) == pytest.approx(expected)
