"""Grouping: words, lines, characters of several islands, and arcs, from caps made by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import shapes_relief as shapes
from scipy.spatial.transform import Rotation

from lint3d.geometry.relief_groups import groups, lines_of
from lint3d.geometry.relief_standing import Standing


def island(x: float, y: float, wide: float, tall: float, height: float = 0.5) -> Standing:
    """An upright box of a character at (x, y), turned out of the frame's axes."""
    corner = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], float) + [x, y]
    points = np.column_stack([corner, np.full(4, height)]) @ TURN.T
    return Standing(True, height, 0.001, points.mean(axis=0), TURN @ [0, 0, 1.0], points)


TURN = np.linalg.qr(np.random.default_rng(5).normal(size=(3, 3)))[0]
TURN *= np.sign(np.linalg.det(TURN))


def word(text_width: int, y: float = 0.0) -> list[Standing]:
    return [island(5.0 * i, y, 4.0, 6.0) for i in range(text_width)]


def test_letters_of_a_word_are_a_group_and_others_are_not() -> None:
    islands = [*word(4), island(60, 0, 4, 6), island(20, 0, 4, 6, height=0.9)]
    found = sorted(tuple(group.tolist()) for group in groups(islands))
    assert found == [(0, 1, 2, 3), (4,), (5,)]


def test_a_known_size_reaches_farther() -> None:
    islands = [*word(3), island(5.0 * 3 + 5.0, 0, 0.6, 0.6)]
    assert len(groups(islands)) == 2
    assert len(groups(islands, np.full(4, 10.0))) == 1


def test_a_dot_belongs_to_its_letter() -> None:
    islands = [*word(3), island(16, 0, 1, 4.5), island(16, 5.2, 1, 0.8)]
    (line,) = lines_of(islands, np.arange(5))
    assert line.character[3] == line.character[4]
    assert len(set(line.character.tolist())) == 4


def test_two_lines_are_two() -> None:
    islands = [*word(6), *word(6, y=-9.0)]
    found = lines_of(islands, np.arange(12))
    assert sorted(len(line.members) for line in found) == [6, 6]
    for line in found:
        assert np.abs(line.direction @ (TURN @ [1.0, 0, 0])) == pytest.approx(1.0, abs=1e-6)


def folded(one: Standing, edge: float, degrees: float) -> Standing:
    """What lies beyond an oblique edge through (edge, 0), turned down about it."""
    away = TURN @ np.array([np.cos(0.6), np.sin(0.6), 0.0])
    along = TURN @ np.array([-np.sin(0.6), np.cos(0.6), 0.0])
    origin = TURN @ np.array([edge, 0.0, 0.0])
    if (one.centre - origin) @ away < 0:
        return one
    turn = Rotation.from_rotvec(np.radians(degrees) * along)
    return replace(
        one,
        centre=origin + turn.apply(one.centre - origin),
        normal=turn.apply(one.normal),
        cap=origin + turn.apply(one.cap - origin),
    )


@pytest.mark.parametrize("degrees", [0, 30, 60])
@pytest.mark.parametrize("edge", [7.5, 12.5])
def test_a_line_of_few_letters_runs_on_over_an_edge(degrees: float, edge: float) -> None:
    """Feet and heads tell the way of reading; the middles of such letters do not lie on it."""
    flat = [island(0, -2, 4, 6), island(5, 0, 4, 6), island(10, 0, 4, 4.5), island(15, 0, 4, 6)]
    (line,) = lines_of([folded(one, edge, degrees) for one in flat], np.arange(4))
    assert line.character.tolist() in ([0, 1, 2, 3], [3, 2, 1, 0])
    normals = np.array([folded(one, edge, degrees).normal for one in flat])
    stem = np.array(
        [
            (one.cap[3] - one.cap[0]) / np.linalg.norm(one.cap[3] - one.cap[0])
            for one in (folded(one, edge, degrees) for one in flat)
        ]
    )
    across = np.cross(normals, line.direction)
    assert np.abs(np.einsum("ij,ij->i", across, stem)) == pytest.approx(1.0, abs=1e-3)


@pytest.mark.parametrize("part", [0.6, 0.95])
def test_a_text_round_a_drum_is_one_line(part: float) -> None:
    """Carried on from letter to letter: seen from one side, half of it would run backwards."""
    radius, count = 20.0, 16
    flat = [island(0, 0, 4, 6) for _ in range(count)]
    axis = TURN @ np.array([0.0, 1.0, 0.0])
    around = []
    for k, one in enumerate(flat):
        turn = Rotation.from_rotvec(2 * np.pi * part * k / count * axis)
        out = TURN @ np.array([-2.0, 0.0, radius])
        around.append(
            replace(
                one,
                centre=turn.apply(one.centre + out),
                normal=turn.apply(one.normal),
                cap=turn.apply(one.cap + out),
            )
        )
    (line,) = lines_of(around, np.arange(count))
    order = line.character.tolist()
    assert order in (list(range(count)), list(range(count))[::-1])


def drawn(text: str, place: Callable[[np.ndarray, float], np.ndarray]) -> list[Standing]:
    """The islands of a text of height 1, each character laid by `place(points, middle)`."""
    islands, x = [], 0.0
    for letter in text:
        if letter == " ":
            x += 0.45
            continue
        glyph = shapes.font_text(letter, 1.0)
        left, _, right, _ = glyph.bounds()
        for part in glyph.decompose():
            points = np.vstack(part.to_polygons()) - [(left + right) / 2, 0.0]
            corner = place(points, x + (right - left) / 2)
            corner = np.column_stack([corner, np.full(len(corner), 0.1)]) @ TURN.T
            side = np.linalg.norm(np.roll(corner, -1, axis=0) - corner, axis=1)
            middle = (np.roll(corner, -1, axis=0) + corner) / 2
            centre = (middle * side[:, None]).sum(axis=0) / side.sum()
            islands.append(Standing(True, 0.1, 0.001, centre, TURN @ [0, 0, 1.0], corner))
        x += right - left + 0.16
    return islands


@pytest.mark.parametrize("radius", [-8.0, -4.0, 4.0, 8.0])
@pytest.mark.parametrize("text", ["m kg tilt mm", "dry Haven AC", "up No 230", "quay at 4711 bar"])
def test_a_text_on_an_arc_is_read_along_it(text: str, radius: float) -> None:
    """The middles of its letters tell the arc badly."""

    def place(points: np.ndarray, at: float) -> np.ndarray:
        turn = Rotation.from_euler("z", -at / radius).as_matrix()[:2, :2]
        return (points + [0.0, radius]) @ turn.T

    islands = drawn(text, place)
    (line,) = lines_of(islands, np.arange(len(islands)))
    assert line.character.max() + 1 == len(text.replace(" ", ""))


@pytest.mark.parametrize("text", ["naïve", "été", "5;6;7", "a:b;c", "No.5", "Größe", "ÄÖÜ", "f(x)"])
@pytest.mark.parametrize("degrees", [0.0, 110.0, 180.0])
def test_dots_accents_and_stops_count_with_their_letters(text: str, degrees: float) -> None:
    turn = Rotation.from_euler("z", degrees, degrees=True).as_matrix()[:2, :2]
    islands = drawn(text, lambda points, at: (points + [at, 0.0]) @ turn.T)
    (line,) = lines_of(islands, np.arange(len(islands)))
    assert line.character.max() + 1 == len(text)


def test_the_dot_of_an_i_below_another_line_stays_with_its_stem() -> None:
    lines = [
        drawn(text, lambda points, at, k=k: points + [at, -1.5 * k])
        for k, text in enumerate(["quay", "jig"])
    ]
    found = lines_of([*lines[0], *lines[1]], np.arange(9))
    assert sorted(len(line.members) for line in found) == [4, 5]
    assert sorted(int(line.character.max()) + 1 for line in found) == [3, 4]


def test_characters_follow_in_order() -> None:
    (line,) = lines_of(word(5), np.arange(5))
    order = line.character.tolist()
    assert order in ([0, 1, 2, 3, 4], [4, 3, 2, 1, 0])


def test_a_single_island_is_a_line_without_a_way() -> None:
    (line,) = lines_of(word(1), np.arange(1))
    assert not line.direction.any()


def test_nothing_is_no_group() -> None:
    assert groups([]) == []


def test_the_dot_of_an_i_under_the_hook_of_an_f_joins_no_f() -> None:
    islands = [island(0, 0, 4, 6), island(5, 0, 3.0, 6), island(7.6, 0, 1, 4.5)]
    islands.append(island(7.6, 5.2, 1, 0.8))
    (line,) = lines_of(islands, np.arange(4))
    assert line.character[2] == line.character[3]
    assert len(set(line.character.tolist())) == 3
