"""Places: a value, its interval, and where."""

from __future__ import annotations

import pytest

from lint3d import LeftOut, Place, Places


def test_a_number_without_uncertainty_is_exact() -> None:
    assert (Place(3).lower, Place(3).upper) == (3, 3)


def test_a_bound_around_the_value() -> None:
    place = Place.measured(1.0, 0.25, faces=[1], remark="x")
    assert (place.lower, place.value, place.upper) == (0.75, 1.0, 1.25)
    assert (place.faces, place.remark) == ([1], "x")


def test_ends_may_be_given_one_by_one() -> None:
    assert (Place(1, lower=0.5).upper, Place(1, upper=2).lower) == (1, 1)


def test_a_lower_bound_has_no_upper_end() -> None:
    assert Place(1, is_lower_bound=True).upper is None
    assert Place(1, is_lower_bound=True).lower == 1
    assert Place(1, upper=4, is_lower_bound=True).upper == 4


def test_places_are_a_sequence_with_gaps_beside() -> None:
    one, two = Place(1), Place(2)
    places = Places(iter([one, two]), iter([LeftOut("dark")]))
    assert list(places) == [one, two]
    assert (len(places), places[1], places[-1]) == (2, two, two)
    assert [gap.reason for gap in places.left_out] == ["dark"]
    assert not Places()
    assert bool(places)


def test_two_places_alike_are_still_two() -> None:
    assert Place(1) != Place(1)
    assert len({Place(1), Place(1)}) == 2


def test_a_value_is_needed() -> None:
    with pytest.raises(TypeError):
        Place()  # type: ignore[call-arg]
