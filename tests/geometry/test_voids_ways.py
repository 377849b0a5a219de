"""Do ways run on to the outside through chambers that are put together?"""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
import shapes_voids as parts
from manifold3d import CrossSection

from lint3d.geometry.throats import Throat, Way
from lint3d.geometry.throats_length import NeckLengths
from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_ways import _facts, _put_together, widest_between


def opening(start: float, stop: float, width: float) -> Throat:
    """A straight duct along x of one width."""
    line = np.linspace(start, stop, 21)
    point = np.column_stack([line, np.zeros((21, 2))])
    middle, along = np.array([(start + stop) / 2, 0, 0]), np.array([np.sign(stop - start), 0, 0])
    long = abs(stop - start)
    way = Way(point, np.full(21, width))
    return Throat(
        width,
        width - 0.01,
        width + 0.01,
        middle,
        along,
        NeckLengths.known(long, long, long),
        way,
        0,
    )


@pytest.mark.parametrize("outer", [2.0, 1.9])
@pytest.mark.parametrize("turned", [False, True])
def test_way_through_a_chamber_that_is_put_together_with_another(
    outer: float, turned: bool
) -> None:
    """A duct whose middle the grid took for a chamber: 20 mm before it and 30 mm behind it."""
    graph = nx.MultiGraph()
    for node, (at, wide) in enumerate([(50.0, np.inf), (0.0, 10.0), (20.0, 2.0)]):
        graph.add_node(node, members=[node], position=(at, 0, 0), diameter=wide)
    inner = opening(20, 0, 2.0) if turned else opening(0, 20, 2.0)
    graph.add_edge(1, 2, **_facts(inner, 2 if turned else 1))
    graph.add_edge(0, 2, **_facts(opening(50, 20, outer), 0))
    _put_together(graph)
    ((one, two, data),) = graph.edges(data=True)
    assert {one, two} == {0, 1}
    assert sorted(graph.nodes[0]["members"] + graph.nodes[1]["members"]) == [0, 1, 2]
    throat = data["throat"] if data["source"] == 1 else data["throat"].reversed()
    assert throat.way.point[[0, -1], 0].tolist() == [0.0, 50.0]
    assert (np.diff(throat.way.point[:, 0]) >= 0).all()
    assert data["diameter"] == outer
    assert data["lower"] == pytest.approx(outer - 0.01)
    assert throat.length_lower <= (50 if outer == 2.0 else 30) <= throat.length_upper
    assert throat.length == pytest.approx(50.0 if outer == 2.0 else 30.0, abs=1.0)


def test_no_way_is_lost_where_chambers_are_put_together_in_turn() -> None:
    """A serpentine: of three bends that are one the last is the widest, and is not the first."""
    graph = nx.MultiGraph()
    wide = [np.inf, 7.5, 2.126, 2.003, 2.223, 2.384]
    for node, (at, width) in enumerate(zip([50.0, 0, 10, 20, 30, 40], wide, strict=True)):
        graph.add_node(node, members=[node], position=(at, 0, 0), diameter=width)
    for one in range(1, 5):
        width = 1.76 if one == 1 else 1.8
        graph.add_edge(one, one + 1, **_facts(opening(10 * one - 10, 10 * one, width), one))
    graph.add_edge(5, 0, **_facts(opening(40, 50, 1.799), 5))
    _put_together(graph)
    assert sorted(map(sorted, graph.edges())) == [[0, 5], [1, 2], [2, 5]]
    assert graph.nodes[2]["members"] == [2, 3, 4]
    ways = {(one, two): data["throat"].way.point[:, 0] for one, two, data in graph.edges(data=True)}
    assert {end for line in ways.values() for end in (line[0], line[-1])} == {0.0, 30.0, 40.0, 50.0}


def test_widest_opening_allows_for_one_that_is_only_glimpsed() -> None:
    graph = nx.MultiGraph()
    graph.add_edge(1, 0, **_facts(opening(0, 20, 1.0), 1))
    graph.add_edge(1, 0, **_facts(replace(opening(0, 20, 1.4), lower=0.0, upper=2.0), 1))
    for one, two in ((1, 0), (0, 1)):
        widest = widest_between(graph, one, two)
        assert (widest.lower, widest.diameter, widest.upper) == (0.99, 1.0, 2.0)
        assert widest.direction[0] == (1 if one else -1)


@pytest.mark.parametrize(
    ("arms", "width", "seed"),
    [
        ([(2.75, 0.806), (0.806, 2.75)], 0.806 * np.sqrt(2), 97060263),
        ([(4.37, 0.8806)], 0.8806, 648786886),
    ],
    ids=["plus", "slit"],
)
@pytest.mark.further
def test_a_neck_in_which_the_grid_sees_a_chamber_is_one_opening(
    arms: list[tuple[float, float]], width: float, seed: int
) -> None:
    """A way through that chamber and one past it are no two openings: nothing vents."""
    neck = sum((CrossSection.square(list(arm), True) for arm in arms), CrossSection())
    solid = parts.block([24, 24, 30]) - parts.ball(8) - parts.drawn(neck, [0, 0, 0], [0, 0, 20])
    found = find_voids(*parts.mesh(solid, parts.random_frame(seed)), 1.5, 12.75, limits=(1.5,))
    (pocket,) = found.pockets
    assert len(pocket.openings) == 1
    assert pocket.bridge is not None
    assert pocket.bridge.lower <= width <= pocket.bridge.upper


@pytest.mark.parametrize("seed", [97060263, 648786886])
@pytest.mark.further
def test_two_slits_side_by_side_are_two_openings(seed: int) -> None:
    solid = parts.block([24, 24, 30]) - parts.ball(8)
    for y in (-0.9, 0.9):
        neck = CrossSection.square([4.37, 0.8806], True).translate([0.0, y])
        solid -= parts.drawn(neck, [0, 0, 0], [0, 0, 20])
    found = find_voids(*parts.mesh(solid, parts.random_frame(seed)), 1.5, 12.75, limits=(1.5,))
    (pocket,) = found.pockets
    assert len(pocket.openings) == 2
    assert pocket.bridge is None
