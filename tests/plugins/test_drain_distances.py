"""Is the distance that of the shortest way that is wide enough?"""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import networkx as nx
import numpy as np
import pytest
import shapes_voids as parts
from parts import write_stl

import lint3d
from lint3d_plugins.drain_distances import distances_behind


def opening(graph: nx.MultiGraph, one: int, two: int, width: float, length: float) -> None:
    way = np.column_stack([np.linspace(0, length, 5), np.zeros((5, 2))])
    throat = SimpleNamespace(
        way=SimpleNamespace(point=way, width=np.full(5, width)), diameter=width
    )
    graph.add_edge(one, two, throat=throat, diameter=width, source=one)


def hollow_of(graph: nx.MultiGraph) -> Any:
    return SimpleNamespace(voids=SimpleNamespace(graph=graph))


def neck_of(node: int, width: float) -> Any:
    pocket = SimpleNamespace(node=node, depth=77.0, way=np.zeros((1, 3)), way_width=np.ones(1))
    return SimpleNamespace(throat=SimpleNamespace(lower=width), pockets=(pocket,))


def network() -> nx.MultiGraph:
    """A long way 2.00 mm wide, a short one of 1.95 mm, and a very short one of 1 mm."""
    graph = nx.MultiGraph()
    opening(graph, 1, 0, 2.0, 90.0)
    opening(graph, 1, 2, 1.95, 10.0)
    opening(graph, 0, 2, 3.0, 15.0)
    opening(graph, 1, 0, 1.0, 5.0)
    return graph


def test_a_way_that_is_narrower_by_a_hair_but_short_counts() -> None:
    length, way, width = distances_behind(hollow_of(network()), neck_of(1, 2.0))[1]
    assert length == pytest.approx(25.0)
    assert len(way) == len(width) == 10
    assert width.tolist() == [1.95] * 5 + [3.0] * 5
    # The second opening was stored from the outside inward.
    assert way[5:, 0].tolist() == [15.0, 11.25, 7.5, 3.75, 0.0]


def test_a_way_that_is_much_narrower_does_not_count() -> None:
    graph = network()
    graph.remove_edge(1, 2)
    assert distances_behind(hollow_of(graph), neck_of(1, 2.0))[1][0] == pytest.approx(90.0)


def test_pocket_that_no_wide_way_leaves_keeps_its_depth() -> None:
    assert distances_behind(hollow_of(network()), neck_of(1, 9.0))[1][0] == 77.0


def test_what_lies_past_the_mouth_is_outside() -> None:
    """A neck 10 mm long: how far its way goes on past it is a matter of the grid."""
    graph = nx.MultiGraph()
    opening(graph, 1, 0, 2.0, 20.0)
    graph.edges[1, 0, 0]["throat"].way.width = np.array([2.0, 2, 2, 8, 9])
    assert distances_behind(hollow_of(graph), neck_of(1, 2.0))[1][0] == pytest.approx(10.0)
    graph = nx.MultiGraph()
    opening(graph, 0, 1, 2.0, 20.0)
    graph.edges[0, 1, 0]["throat"].way.width = np.array([9.0, 8, 2, 2, 2])
    assert distances_behind(hollow_of(graph), neck_of(1, 2.0))[1][0] == pytest.approx(10.0)


@pytest.mark.parametrize("seed", [1, 4])
def test_a_flat_pocket_reaches_to_its_far_ends(seed: int, tmp_path: Path) -> None:
    """The hole is in the middle of the largest side; 5.2 or 28 mm were told, by the frame."""
    solid = parts.block([50, 30, 10]) - parts.block([46, 26, 6])
    solid -= parts.rod([0, 0, 0], [0, 0, 6], 2, 16)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    path = write_stl(tmp_path / "a.stl", vertices[faces])
    limits = ["drain/narrow-neck=2", "drain/unreachable=15"]
    only = ["drain/unreachable"]
    (result,) = lint3d.inspect([str(path)], only=only, limits=limits, workers=0).results
    truth = 5 + math.hypot(20, 10)
    assert result.measured == pytest.approx(truth, abs=1.5)
    assert result.lower is not None
    assert result.lower > 15
    assert result.kind == "fail"
