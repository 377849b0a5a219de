"""Solid: very many faults of one kind are one result, the same in any order of the faces."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from parts import box, joined, part_of, write_stl

import lint3d
from lint3d import LeftOut, Place
from lint3d.config import Config
from lint3d.report.sarif import sarif_log
from lint3d_plugins.many_places import MANY
from lint3d_plugins.solid import inside_out, joints, stray_shell


def scattered(count: int) -> np.ndarray:
    """Single loose facets, 2 mm wide, 5 mm apart, (count, 3, 3) mm."""
    one = np.array([[0.0, 0, 0], [2, 0, 0], [0, 2, 0]])
    return np.stack([one + [5 * (i % 10), 5 * (i // 10), 0] for i in range(count)])


def holed(count: int) -> np.ndarray:
    """A flat grid of unit squares with `count` holes of one square that do not touch."""
    cells = [(i, j) for i in range(7 * count) for j in range(9) if (i % 7, j) != (3, 4)]
    half = np.array([[0, 0], [1, 0], [1, 1], [0, 0], [1, 1], [0, 1]], float).reshape(2, 3, 2)
    flat = np.concatenate([half + np.array(cell) for cell in cells])
    return np.concatenate([flat, np.zeros((*flat.shape[:2], 1))], axis=2)


@pytest.mark.parametrize("count", [MANY - 1, MANY + 10])
def test_many_holes_are_one_place_with_their_sum(count: int) -> None:
    # Every hole has 4 open edges of its own; the rim around is a place more.
    places = joints(part_of(holed(count)).bodies[0]).open
    rim = 2 * (7 * count + 9)
    assert sum(place.value for place in places) == 4 * count + rim
    if count + 1 <= MANY:
        assert len(places) == count + 1
        return
    (place,) = places
    assert place.lower == place.upper == place.value
    assert place.properties["places"] == count + 1
    assert place.properties["distribution"]["median"] == 4
    assert place.properties["distribution"]["largest"] == rim
    assert place.properties["box_mm"] == [[0, 0, 0], [7 * count, 9, 0]]
    assert [one["value"] for one in place.properties["worst_places"][:3]] == [rim, 4, 4]
    assert f"{count + 1} places" in str(place.remark)


def test_a_summary_does_not_hang_on_the_order_of_the_faces() -> None:
    found = []
    for seed in range(3):
        mesh = holed(MANY + 9)
        order = np.random.default_rng(seed).permutation(len(mesh))
        (place,) = joints(part_of(mesh[order]).bodies[0]).open
        worst = place.properties["worst_places"][1:]
        found.append((place.value, place.remark, str(place.properties["distribution"]), str(worst)))
    assert len(set(found)) == 1


def test_why_shells_are_not_closed_is_told_once() -> None:
    body = part_of(joined(box((100, 100, 10), (-10, -10, -5)), scattered(50))).bodies[0]
    assert len(body.shells) == 51
    (left,) = inside_out(body)
    assert isinstance(left, LeftOut)
    assert sorted(left.faces) == list(range(12, 62))


def test_many_loose_sheets_are_one_place_and_the_solid_stays_its_own() -> None:
    body = part_of(joined(box((100, 100, 10), (-10, -10, -5)), scattered(50))).bodies[0]
    told = list(stray_shell(body))
    assert len(told) <= 2
    sheets = part_of(scattered(50)).bodies
    for one in sheets:
        (place,) = stray_shell(one)
        assert isinstance(place, Place)
        assert place.value == 0


def test_the_worst_places_are_related_locations_and_the_baseline_knows_it_again(
    tmp_path: Path,
) -> None:
    path = write_stl(tmp_path / "part.stl", holed(MANY + 4))
    found = lint3d.inspect(path, only=["solid/open-edge"], workers=0, config=Config())
    report = sarif_log(found)
    (told,) = (one for one in report["runs"][0]["results"] if one["kind"] == "fail")
    related = told["relatedLocations"]
    assert [one["id"] for one in related] == list(range(2, 14))
    assert related[1]["properties"] == {"position": [3.0, 4.5, 0.0], "value": 4.0}
    assert "Place 2 of the worst" in related[1]["message"]["text"]
    again = write_stl(tmp_path / "part.stl", holed(MANY + 4)[::-1])
    keys = sarif_log(lint3d.inspect(again, only=["solid/open-edge"], workers=0, config=Config()))
    (same,) = (one for one in keys["runs"][0]["results"] if one["kind"] == "fail")
    assert same["partialFingerprints"] == told["partialFingerprints"]
