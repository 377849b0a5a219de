"""Which bodies are looked at together, and whose face is whose?"""

from __future__ import annotations

import numpy as np
import pytest
from parts import box, part_of

from lint3d import Body
from lint3d_plugins.drain_groups import groups_of


def bodies(*corners: tuple[float, float, float]) -> list[Body]:
    """Boxes of 10 mm with these lowest corners, in that order."""
    return [part_of(box(10.0, at)).bodies[0] for at in corners]


def test_bodies_that_stand_apart_are_looked_at_alone() -> None:
    found = groups_of(bodies((0, 0, 0), (24, 0, 0), (11, 0, 0), (50, 0, 0)), 2.0)
    assert [len(group.bodies) for group in found] == [2, 1, 1]
    assert [len(group.bodies) for group in groups_of(bodies((0, 0, 0), (11, 0, 0)), 0.9)] == [1, 1]
    assert groups_of([], 1.0) == []


def test_bodies_in_a_chain_are_one_group() -> None:
    (group,) = groups_of(bodies((0, 0, 0), (22, 0, 0), (11, 0, 0)), 1.5)
    assert len(group.bodies) == 3


def test_faces_keep_their_owner() -> None:
    one, two = bodies((0, 0, 0), (11, 0, 0))
    (group,) = groups_of([one, two], 2.0)
    assert group.owner(11) == (one, 11)
    assert group.owner(12) == (two, 0)
    assert group.own_rows(np.array([3, 13, 20]), two).tolist() == [1, 8]
    assert group.bodies_at(np.array([3, 13, 20])) == [two, one]
    assert group.vertices[group.faces[12:]] == pytest.approx(two.vertices[two.faces])
