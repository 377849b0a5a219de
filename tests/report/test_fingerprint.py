"""By what the same result is looked up in another report."""

from dataclasses import replace

import inspections
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from lint3d.report.fingerprint import BODY_KEY, PLACE_KEY, fingerprints, numbered

WALL = next(r for r in inspections.varied().results if r.rule == "walls/thin-wall")


def test_value_size_and_wording_do_not_enter() -> None:
    changed = replace(
        WALL,
        measured=0.1,
        lower=0.09,
        faces=400,
        extent=99.0,
        uri="renamed.stl",
        message="new words",
    )
    assert fingerprints(changed)[BODY_KEY] == fingerprints(WALL)[BODY_KEY]
    again = replace(changed, uri=WALL.uri)
    assert fingerprints(again) == fingerprints(WALL)


def test_rule_body_and_partner_enter() -> None:
    keys = {fingerprints(WALL)[BODY_KEY]}
    for change in ({"rule": "walls/free-wall"}, {"body": "lid"}, {"other": "pin"}):
        keys.add(fingerprints(replace(WALL, **change))[BODY_KEY])
    assert len(keys) == 4


def test_a_place_far_away_has_another_place_key_and_the_same_body_key() -> None:
    moved = replace(WALL, position=(50.0, 50.0, 50.0))
    assert fingerprints(moved)[PLACE_KEY] != fingerprints(WALL)[PLACE_KEY]
    assert fingerprints(moved)[BODY_KEY] == fingerprints(WALL)[BODY_KEY]


@given(st.lists(st.integers(-400, 400), min_size=3, max_size=3), st.integers(0, 2**31))
def test_round_coordinates_survive_the_noise_of_a_re_export(half: list[int], seed: int) -> None:
    """Designers place walls on multiples of 0.5 mm: no cell ends there."""
    place = np.array(half) / 2
    noisy = place + np.random.default_rng(seed).uniform(-0.05, 0.05, 3)
    first, second = (
        fingerprints(replace(WALL, position=tuple(float(x) for x in p))) for p in (place, noisy)
    )
    assert first == second


def test_repeats_are_told_apart() -> None:
    keys = numbered([fingerprints(WALL)] * 3)
    assert len({key[PLACE_KEY] for key in keys}) == 3
    assert len({key[BODY_KEY] for key in keys}) == 1
    assert keys[0] == fingerprints(WALL)


def test_no_position_is_no_trouble() -> None:
    assert fingerprints(replace(WALL, position=None))[PLACE_KEY]
