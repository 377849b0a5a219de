"""Places that touch are one place, and the worst of them stands."""

from __future__ import annotations

import numpy as np
import pytest
from parts import box, joined, part_of

from lint3d import Place, Requirement
from lint3d.regions import merge_touching, severity

AT_LEAST = Requirement("at least", "mm", "doc", low=0.6)
AT_MOST = Requirement("at most", "mm", "doc", high=0.6)
NONE = Requirement("none", "1", "doc")
#: Two cubes that do not touch: faces 0-11 and 12-23
BODY = part_of(joined(box(), box(at=(50, 0, 0))))
FACES = BODY.faces


def merged(*places: Place, requirement: Requirement = AT_LEAST) -> list[Place]:
    return merge_touching(places, FACES, requirement)


def test_places_that_share_a_vertex_are_one_with_the_tightest_value() -> None:
    (one,) = merged(Place(0.5, faces=[0]), Place(0.3, faces=[1, 2]), Place(0.4, faces=[1]))
    assert one.value == 0.3
    assert sorted(one.faces) == [0, 1, 2]
    assert one.faces[0] == 1  # the worst place's first face comes first


def test_the_largest_value_is_the_tightest_of_at_most() -> None:
    (one,) = merged(Place(0.7, faces=[0]), Place(0.9, faces=[1]), requirement=AT_MOST)
    assert one.value == 0.9


def test_counts_are_added_up() -> None:
    a, b = Place(2, faces=[0]), Place(3, lower=2, upper=5, faces=[1])
    (one,) = merged(a, b, requirement=NONE)
    assert (one.value, one.lower, one.upper) == (5, 4, 7)


def test_places_apart_stay_apart_in_their_order() -> None:
    places = merged(Place(0.5, faces=[12]), Place(0.3, faces=[0]), Place(0.4, faces=[13]))
    assert [(p.value, sorted(p.faces)) for p in places] == [(0.4, [12, 13]), (0.3, [0])]


def test_a_chain_is_one_place() -> None:
    """First and last do not touch, but the one between touches both."""
    first, last = 0, 2
    assert not set(FACES[first]) & set(FACES[last])
    links = [
        f
        for f in range(12)
        if set(FACES[f]) & set(FACES[first]) and set(FACES[f]) & set(FACES[last])
    ]
    apart = merged(Place(0.5, faces=[first]), Place(0.4, faces=[last]))
    chain = merged(
        Place(0.5, faces=[first]), Place(0.4, faces=[last]), Place(0.3, faces=[links[0]])
    )
    assert (len(apart), len(chain)) == (2, 1)


def test_places_without_faces_stay_as_they_are() -> None:
    places = [Place(0.5), Place(0.5), Place(0.5, faces=[0]), Place(0.4, faces=[1])]
    assert sorted(len(place.faces) for place in merged(*places)) == [0, 0, 2]
    assert merged() == []


def test_what_surely_fails_is_not_hidden_by_a_tighter_place_that_may_pass() -> None:
    """0.5 ± 0.2 may be 0.7 and so is to be reviewed; 0.55 ± 0.01 next to it surely fails."""
    unsure, sure = Place.measured(0.5, 0.2, faces=[0]), Place.measured(0.55, 0.01, faces=[1])
    for places in ([unsure, sure], [sure, unsure]):
        (one,) = merged(*places)
        assert one.value == 0.55
    assert severity(sure, AT_LEAST) < severity(unsure, AT_LEAST)


def test_an_upper_bound_that_is_not_known_stays_unknown() -> None:
    lower_bound = Place(0.3, is_lower_bound=True, faces=[0])
    (one,) = merged(lower_bound, Place(0.31, lower=0.2, upper=5, faces=[1]))
    assert one.value == 0.3
    assert one.upper is None


def test_extent_and_remark_are_of_the_whole_and_the_worst() -> None:
    (one,) = merged(
        Place(0.5, faces=[0], extent_mm=1.0, remark="a"),
        Place(0.3, faces=[1], extent_mm=2.0, remark="b"),
    )
    assert one.extent_mm is None  # worked out again from all faces
    assert one.remark == "b"


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_places_does_not_change_the_regions(seed: int) -> None:
    rng = np.random.default_rng(seed)
    places = [Place(float(rng.random()), faces=[int(f)]) for f in rng.permutation(24)]
    regions = {(round(p.value, 12), tuple(sorted(p.faces))) for p in merged(*places)}
    assert len(regions) == 2
    assert regions == {
        (round(p.value, 12), tuple(sorted(p.faces))) for p in merged(*reversed(places))
    }
