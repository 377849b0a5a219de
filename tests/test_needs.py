"""Order, circles and users of what needs what, beside networkx as a second opinion."""

from __future__ import annotations

import doctest

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lint3d import needs
from lint3d.needs import circle_in, in_order, users_of

#: Small graphs, with circles and without; every name is a key.
NEEDS = st.integers(1, 7).flatmap(
    lambda count: st.fixed_dictionaries(
        {name: st.frozensets(st.sampled_from("abcdefg"[:count])) for name in "abcdefg"[:count]}
    )
)


def graph_of(needs: dict[str, frozenset[str]]) -> nx.DiGraph:
    graph = nx.DiGraph()
    graph.add_nodes_from(needs)
    graph.add_edges_from((need, name) for name, asked in needs.items() for need in asked)
    return graph


def test_examples() -> None:
    assert doctest.testmod(needs).failed == 0
    assert in_order({}) == []
    assert circle_in({}) == []


@given(NEEDS)
def test_as_networkx_sees_it(needs: dict[str, frozenset[str]]) -> None:
    graph = graph_of(needs)
    if nx.is_directed_acyclic_graph(graph):
        assert circle_in(needs) == []
        order = in_order(needs)
        assert order == list(nx.lexicographical_topological_sort(graph))
        for name in needs:
            assert users_of(name, needs, order) == {name, *nx.descendants(graph, name)}
        left = [name for name in order if name != order[-1]]
        assert users_of(order[0], needs, left) == {
            order[0], *nx.descendants(graph.subgraph(left), order[0])
        } if len(order) > 1 else {order[0]}  # fmt: skip
    else:
        circle = circle_in(needs)
        assert circle[0] == circle[-1] == min(circle)
        assert all(one in needs[two] for one, two in zip(circle, circle[1:], strict=False))
        with pytest.raises(ValueError, match="cycle"):
            in_order(needs)
