"""Is a neck that runs on through bends told once, with its whole length?"""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import shapes_voids as parts
from parts import write_stl

import lint3d
from lint3d.geometry.throats import Throat, Way
from lint3d.geometry.throats_length import NeckLengths
from lint3d.geometry.voids_model import OUTSIDE
from lint3d_plugins.drain_necks import necks_on_ways

WIDTH = 1.8


def serpentine(file: Path, seed: int) -> str:
    """Three straight ducts of 18 mm, 4 mm between them twice, and 8 mm from a ball to the outside.

    Balls of 1.4 times the width at its bends are chambers on the grid.
    """
    sides = 12
    corners = [[0, 0, 0], [0, 18, 0], [4, 18, 0], [4, 0, 0], [8, 0, 0], [8, 18, 0], [20, 18, 0]]
    solid = parts.block([28, 34, 12], [2, 9, 0]) - parts.ball(4, [-4, 0, 0], 32)
    for one, two in zip(corners[:-1], corners[1:], strict=True):
        solid -= parts.rod(one, two, WIDTH / math.cos(math.pi / sides), sides)
        solid -= parts.ball(0.7 * WIDTH, one, 24) + parts.ball(0.7 * WIDTH, two, 24)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed))
    return str(write_stl(file, vertices[faces]))


@pytest.mark.parametrize("seed", [1, 0, 3])
@pytest.mark.cases(2)
def test_a_serpentine_is_one_neck_through_its_bends(seed: int, tmp_path: Path) -> None:
    """By closed form; at each of the five bends the line may cut the corner by half a width.

    In one frame (1) the way ran forth and back in a bend: 41.96 at least, for at most 38.9.
    """
    file = serpentine(tmp_path / "a.stl", seed)
    found = lint3d.inspect(
        [file], only=["drain/long-neck"], limits=["drain/long-neck=15"], workers=0
    )
    (result,) = [one for one in found.results if one.rule == "drain/long-neck"]
    assert result.kind == "fail"
    whole = 3 * 18 + 2 * 4 + 8
    assert result.lower is not None
    assert result.upper is not None
    assert result.lower <= whole / WIDTH
    assert result.upper >= (whole - 5 * WIDTH / 2) / WIDTH
    assert result.properties["neck_length_mm"] == pytest.approx(whole, rel=0.1)


@pytest.mark.cases(1)
@pytest.mark.parametrize("seed", [1, 5])
def test_the_bends_of_a_serpentine_are_no_pockets_behind_necks_of_their_own(
    seed: int, tmp_path: Path
) -> None:
    """Narrow-neck and no-vent told one neck twice, as 1.764 and 1.8 mm."""
    rules = ["drain/narrow-neck", "drain/no-vent", "drain/unreachable"]
    found = lint3d.inspect(
        [serpentine(tmp_path / "a.stl", seed)],
        only=rules,
        limits=["drain/narrow-neck=2", "drain/unreachable=40"],
        workers=0,
    )
    assert sorted(one.rule for one in found.results if one.kind == "fail") == rules


@pytest.mark.parametrize("order", [(2, 1), (1, 2)])
@pytest.mark.parametrize("widths", [(1.6, 1.61), (1.61, 1.6)])
def test_a_bend_told_before_the_chamber_behind_it_parts_no_neck(
    order: tuple[int, int], widths: tuple[float, float]
) -> None:
    """A serpentine of 12 bends, 101.2 mm, was told with another neck of 15.7 mm in it."""
    import networkx as nx

    graph = nx.MultiGraph()
    for node, wide in ((OUTSIDE, math.inf), (1, 7.0), (2, 2.0)):
        graph.add_node(node, diameter=wide)
    legs = {(2, OUTSIDE): (20.0, 35.0), (1, 2): (0.0, 20.0)}
    for (one, two), (begin, end), width in zip(legs, legs.values(), widths, strict=True):
        throat = straight_throat(begin, end, width)
        graph.add_edge(one, two, source=one, throat=throat, **bounds(throat))
    ways = {1: (1, 2, OUTSIDE), 2: (2, OUTSIDE)}
    pockets = [SimpleNamespace(node=node, way_nodes=ways[node]) for node in order]
    hollow = SimpleNamespace(voids=SimpleNamespace(graph=graph, pockets=pockets))
    (neck,) = necks_on_ways(hollow)  # type: ignore[arg-type]
    assert [one.node for one in neck.pockets] == list(order)
    assert neck.throat.length == pytest.approx(35.0, abs=0.6)


def straight_throat(begin: float, end: float, width: float) -> Throat:
    """Of a straight duct along z, mm."""
    z = np.linspace(begin, end, 100)
    point, axis = np.column_stack([0 * z, 0 * z, z]), np.array([0.0, 0.0, 1.0])
    way = Way(point, np.full(100, width))
    length = end - begin
    lengths = NeckLengths.known(length, length, length)
    return Throat(width, width, width, point[50], axis, lengths, way, 0)


def bounds(throat: Throat) -> dict[str, float]:
    return {"diameter": throat.diameter, "lower": throat.lower, "upper": throat.upper}
