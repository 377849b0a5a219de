"""Linked things form one group, numbered by lowest member."""

from unittest import mock

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lint3d.geometry import components
from lint3d.geometry.components import connected_groups, line_back


def test_groups_are_numbered_by_lowest_member():
    groups = connected_groups(6, np.array([5, 4]), np.array([0, 2]))
    assert groups.tolist() == [0, 1, 2, 3, 2, 0]


def test_nothing_is_linked():
    nothing = np.zeros(0, np.int64)
    assert connected_groups(3, nothing, nothing).tolist() == [0, 1, 2]
    assert connected_groups(0, nothing, nothing).tolist() == []


@given(st.integers(0, 2**32 - 1))
def test_agrees_with_a_plain_search(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 30))
    links = rng.integers(0, count, (int(rng.integers(0, 30)), 2))
    lowest = np.arange(count)
    for _ in range(count):
        for one, two in links:
            lowest[[one, two]] = min(lowest[one], lowest[two])
    true = np.unique(lowest, return_inverse=True)[1].tolist()
    assert connected_groups(count, links[:, 0], links[:, 1]).tolist() == true
    with mock.patch.object(components, "FEW", 0):
        assert connected_groups(count, links[:, 0], links[:, 1]).tolist() == true


def test_long_chains_end_soon():
    """Worked out in a few rounds, whichever way they are numbered."""
    for order in (np.arange(900), np.arange(900)[::-1], np.random.default_rng(0).permutation(900)):
        assert (connected_groups(900, order[1:], order[:-1]) == 0).all()


def test_a_line_goes_back_to_where_the_search_began_or_as_far_as_it_can() -> None:
    before = np.array([-9999, 0, 1, 1, -9999])
    assert line_back(before, 3) == [3, 1, 0]
    assert line_back(before, 4) == [4]
