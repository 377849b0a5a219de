"""The same place in two reports, in spite of moves, new names and order."""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from parts import box, joined
from two_reports import LUGGED, known_by, moved, rotation, snapshot, wall

from lint3d.inspection import Result
from lint3d.matching import match, pair_bodies
from lint3d.snapshot import Snapshot

PLACES = [(10, 5, 5), (30, 20, 5), (55, 38, 2), (30, 24, 5), (3, 3, 16)]


@given(st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
@pytest.mark.further
def test_every_place_is_found_again_in_a_random_frame(seed: int) -> None:
    turn, shift = rotation(seed)
    old = [wall(at, 0.3 + 0.01 * n) for n, at in enumerate(PLACES)]
    new = [moved(one, turn, shift) for one in old]
    random.Random(seed).shuffle(new)
    found = match(snapshot(*old), snapshot(*new, shape=LUGGED @ turn.T + shift))
    assert (found.gone, found.came) == ([], [])
    assert all(before.measured == after.measured for before, after in found.pairs)


def test_places_too_far_apart_are_others() -> None:
    """2 % of 60 mm is 1.2 mm."""
    near = match(snapshot(wall((30, 20, 5))), snapshot(wall((31.1, 20, 5), extent=2.0)))
    assert len(near.pairs) == 1
    far = match(snapshot(wall((30, 20, 5))), snapshot(wall((31.3, 20, 5), extent=2.0)))
    assert far.pairs == []
    assert (len(far.gone), len(far.came)) == (1, 1)
    tiny = box((5, 4, 3))
    old = snapshot(wall((1, 1, 1), extent=2.0), shape=tiny)
    counts = [
        len(match(old, snapshot(wall((1 + step, 1, 1), extent=2.0), shape=tiny)).pairs)
        for step in (0.45, 0.55)
    ]
    assert counts == [1, 0]


def test_one_place_has_one_counterpart() -> None:
    found = match(snapshot(wall((30, 20, 5))), snapshot(wall((30, 20, 5)), wall((30.4, 20, 5))))
    ((_, after),) = found.pairs
    assert after.position == (30, 20, 5)
    assert len(found.came) == 1


def test_the_distances_together_are_smallest() -> None:
    """Nearest first would leave one of them over."""
    old = snapshot(wall((10, 5, 5), 0.31), wall((11.0, 5, 5), 0.32))
    new = snapshot(wall((10.6, 5, 5), 0.31), wall((12.0, 5, 5), 0.32))
    assert [(a.measured, b.measured) for a, b in match(old, new).pairs] == [
        (0.31, 0.31), (0.32, 0.32),
    ]  # fmt: skip


def test_a_uniform_wall_is_one_place_wherever_its_worst_point_lies() -> None:
    old = wall((12, 20, 5), extent=40.0, centre=(30, 20, 5))
    new = wall((48, 20, 5), extent=38.0, centre=(31.5, 20, 5))
    assert len(match(snapshot(old), snapshot(new)).pairs) == 1
    apart = replace(new, centre=(36.0, 20, 5))
    assert match(snapshot(old), snapshot(apart)).pairs == []


def test_rule_and_body_must_be_the_same() -> None:
    other_rule = replace(wall(), rule="walls/free-wall")
    assert match(snapshot(wall()), snapshot(other_rule)).pairs == []
    shapes = {("a.stl", "part-1"): known_by(LUGGED), ("a.stl", "part-1/2"): known_by(box(9))}
    elsewhere = Snapshot([replace(wall(), body="part-1/2")], shapes)
    assert match(snapshot(wall()), elsewhere).pairs == []


def test_a_renamed_file_and_body_is_the_same_body() -> None:
    turn, shift = rotation(4)
    shape = known_by(LUGGED @ turn.T + shift)
    renamed = replace(moved(wall(), turn, shift), uri="new/b.stl", body="plate")
    new = Snapshot([renamed], {("new/b.stl", "plate"): shape})
    found = match(snapshot(wall()), new)
    assert found.bodies == {("new/b.stl", "plate"): ("a.stl", "part-1")}
    assert len(found.pairs) == 1


def test_names_that_changed_places() -> None:
    """Bodies are named by falling volume: one that grew takes the other's name."""
    plate, cube = known_by(LUGGED), known_by(box(20))
    old = {("a.stl", "part-1"): plate, ("a.stl", "part-1/2"): cube}
    new = {("a.stl", "part-1"): cube, ("a.stl", "part-1/2"): plate}
    assert pair_bodies(old, new) == {
        ("a.stl", "part-1"): ("a.stl", "part-1/2"),
        ("a.stl", "part-1/2"): ("a.stl", "part-1"),
    }


def test_a_body_of_one_file_is_not_one_of_another_that_is_there_too() -> None:
    one = known_by(LUGGED)
    keys = [("a.stl", "part-1"), ("b.stl", "part-1")]
    assert pair_bodies(dict.fromkeys(keys, one), dict.fromkeys(keys, one)) == dict(
        zip(keys, keys, strict=True)
    )
    cube = known_by(box(20))
    assert pair_bodies({keys[0]: one}, {keys[1]: cube}) == {}


def test_a_body_that_was_changed_a_lot_is_still_the_one_of_its_name() -> None:
    key = ("a.stl", "part-1")
    changed = known_by(joined(LUGGED, box((10, 10, 60), (20, 20, 4))))
    assert pair_bodies({key: known_by(LUGGED)}, {key: changed}) == {key: key}


def test_without_likeness_places_are_compared_as_they_lie() -> None:
    old = Snapshot([wall()], {("a.stl", "part-1"): None})
    assert len(match(old, snapshot(wall((30.3, 20, 5)))).pairs) == 1
    assert match(old, snapshot(wall((31.3, 20, 5), extent=1.0))).pairs == []


def test_a_symmetric_body_lies_as_its_places_say() -> None:
    """A cube on another side fits in 24 ways; in four of them two of its places are found, in one
    all three."""
    cube = box(40)
    old = [wall((20, 20, 40)), wall((0, 12, 8)), wall((5, 0, 33))]
    turn, shift = rotation(11)
    new = [moved(one, turn, shift) for one in old]
    found = match(snapshot(*old, shape=cube), snapshot(*new, shape=cube @ turn.T + shift))
    assert len(found.pairs) == 3


def test_what_passes_is_paired_wherever_its_tightest_place_is() -> None:
    found = match(snapshot(wall(value=0.9)), snapshot(wall((3, 3, 16), 0.9)))
    assert len(found.pairs) == 1
    # A failure elsewhere is no such pass.
    failing = match(snapshot(wall(value=0.9)), snapshot(wall((3, 3, 16), 0.3)))
    assert failing.pairs == []


def test_results_of_a_file_without_a_place() -> None:
    def doubt(uri: str, kind: str) -> Result:
        return Result("size/units-doubt", kind, "Too small.", uri, measured=1, lower=1, upper=1)  # type: ignore[arg-type]

    old, new = snapshot(wall()), snapshot(wall(), uri="b.stl")
    old.results.append(doubt("a.stl", "pass"))
    new.results.append(doubt("b.stl", "fail"))
    assert len(match(old, new).pairs) == 2


@pytest.mark.parametrize("count", [1200])
def test_absurdly_many_places(count: int) -> None:
    """Of a report that was not made by any rule of ours; still nearest to nearest."""
    rng = np.random.default_rng(0)
    points = rng.uniform(0, 900, (count, 3))
    old = [wall(p, 0.3 + 1e-6 * n) for n, p in enumerate(points)]
    new = [wall(p + 0.01, 0.3 + 1e-6 * n) for n, p in enumerate(points)]
    found = match(snapshot(*old), snapshot(*new))
    assert len(found.pairs) == count
    assert sum(a.measured != b.measured for a, b in found.pairs) < 5
