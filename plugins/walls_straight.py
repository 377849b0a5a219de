"""Which straight rods and holes are one place?

Opposite sides of a square bar are regions of their own, and one bar. A hole that another crosses is
one hole. Rods that meet, as in a frame, a bent wire or a lattice, are one region of thin material.

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Place
from lint3d_plugins import walls_looks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.rods_bar import Bar
    from lint3d.geometry.spans_surface import SpanSurface

MEETS = " Others, no thinner, meet it."
LONGER = 1.25
SAME_WAY = 0.9  # the cosine: bars that run the same way to within 26 degrees


def straight_holes(
    pairs: Sequence[tuple[Place, Bar]], felt: Sequence[Bar], known: Inside, remark: str
) -> list[Place]:
    """Straight holes, each once.

    Parameters
    ----------
    pairs : places by regions, and the bar of each
    felt : bars found by their sides all round
    known : the bars that are told are put to it
    """
    from lint3d.geometry.rods_meeting import in_line, one_bar

    found = _each_once(pairs, felt, known)
    told = []
    for mine in _members(in_line([bar for _, bar in found])):
        bar = one_bar([found[i][1] for i in mine])
        told.append(round_place(found[mine[0]][0], bar, remark))
        told[-1].faces = bar.faces
    return told


def straight_rods(
    pairs: Sequence[tuple[Place, Bar]], felt: Sequence[Bar], known: Inside, remark: str
) -> list[Place]:
    """Straight rods; those that meet are one place, at the thinnest of them.

    Parameters
    ----------
    pairs, felt, known : as for holes
    """
    from lint3d.geometry.rods_meeting import meeting

    found = _each_once(pairs, felt, known)
    told = []
    for mine in _members(meeting([bar for _, bar in found])):
        mine.sort(key=lambda i: found[i][1].diameter)
        place = round_place(*found[mine[0]], remark)
        if len(mine) > 1:
            _join(place, [found[i] for i in mine])
        told.append(place)
    return sorted(told, key=lambda place: place.value)


def most_slender_of_each(rods: Sequence[Bar], limit: float) -> list[Bar]:
    """Rods without those that meet a more slender one, if both may be longer than the limit."""
    from lint3d.geometry.rods_meeting import meeting

    doubtful = [bar for bar in rods if bar.slenderness[2] >= limit][: walls_looks.MOST_MET]
    kept = {
        id(max((doubtful[i] for i in mine), key=lambda bar: bar.slenderness[0]))
        for mine in _members(meeting(doubtful))
    }
    others = {id(bar) for bar in doubtful} - kept
    return [bar for bar in rods if id(bar) not in others]


def with_bent(
    straight: Sequence[Place],
    bent: Sequence[Place],
    longer: Sequence[Place],
    surface: SpanSurface,
) -> list[Place]:
    """Rods again: those that are bent, and what shares corners with them, are one place.

    Parameters
    ----------
    longer : what some of them are only a part of; told by its rods, which are measured better
    """
    from lint3d.geometry.components import connected_groups

    if not bent and not longer:
        return list(straight)
    every = [*straight, *bent, *longer]
    rows = [np.asarray(place.faces, np.int64) for place in every]
    corners = [np.unique(corners_of(surface, mine)) for mine in rows]
    # A flat facet may belong to many straight rods, which it does not make one.
    on_bent = np.unique(np.concatenate(corners[len(straight) :]))
    shared = [np.intersect1d(mine, on_bent, assume_unique=True) for mine in corners]
    one = np.repeat(np.arange(len(every)), [len(mine) for mine in shared])
    corner = np.searchsorted(on_bent, np.concatenate(shared)) + len(every)
    group = connected_groups(len(every) + len(on_bent), one, corner)[: len(every)]
    told = []
    for mine in _members(group):
        mine.sort(key=lambda i: (i >= len(straight) + len(bent), every[i].value))
        place = every[mine[0]]
        if len(mine) > 1:
            place.faces = _each_face([rows[i] for i in mine])
            place.extent_mm = None
            place.remark = (place.remark or "").removesuffix(MEETS) + MEETS
        told.append(place)
    return told


def corners_of(surface: SpanSurface, rows: NDArray[np.int64]) -> NDArray[np.int64]:
    """(3k,) vertices of faces of the mesh: the surface has left some of those out."""
    return surface.faces[np.searchsorted(surface.face_ids, rows)].ravel()


def _join(place: Place, found: Sequence[tuple[Place, Bar]]) -> None:
    """Let the place of the thinnest rod stand for all that meet."""
    place.faces = _each_face([np.asarray(one.faces, np.int64) for one, _ in found])
    ends = np.array([end for _, bar in found for end in (bar.start, bar.end)])
    place.extent_mm = float(np.ptp(ends, axis=0).max() + found[0][1].diameter)
    place.remark = (place.remark or "") + MEETS


def _each_face(rows: Sequence[NDArray[np.int64]]) -> NDArray[np.int64]:
    """All faces once, those of the first before the others."""
    faces = np.concatenate(rows)
    return faces[np.sort(np.unique(faces, return_index=True)[1])]


def _each_once(
    pairs: Sequence[tuple[Place, Bar]], felt: Sequence[Bar], known: Inside
) -> list[tuple[Place, Bar]]:
    found = []
    for place, bar in pairs:
        if not known.holds_bar(bar):
            known.add([bar])
            found.append((place, bar))
    # Of more than can be told, the rest only joins what it meets.
    for i, bar in enumerate(felt):
        if i >= walls_looks.MOST_TOLD or not known.holds_bar(bar):
            known.add([bar])
            middle = (bar.start + bar.end) / 2
            place = Place(bar.diameter, position=middle, faces=bar.faces, distinct=True)
            place.extent_mm = bar.extent
            found.append((place, bar))
    return found


def _members(group: NDArray[np.int64]) -> Iterator[list[int]]:
    """Rows of each group, in the order of their first."""
    order = np.argsort(group, kind="stable")
    for rows in np.split(order, np.flatnonzero(np.diff(group[order])) + 1):
        if len(rows):
            yield rows.tolist()


class Inside:
    """Straight bars, and whether places lie in one of them: asked of very many."""

    def __init__(self) -> None:
        self._rows, self._count = np.zeros((16, 8)), 0

    def add(self, bars: Sequence[Bar]) -> None:
        """Put more bars to them."""
        rows = [(*bar.start, *bar.axis, bar.diameter, _long(bar)) for bar in bars]
        total = self._count + len(rows)
        if total > len(self._rows):
            spare = np.zeros((2 * total - len(self._rows), self._rows.shape[1]))
            self._rows = np.concatenate([self._rows, spare])
        if rows:
            self._rows[self._count : total] = rows
        self._count = total

    def holds_bar(self, bar: Bar) -> bool:
        """Does the middle of a bar lie in one of them that runs the same way?"""
        return bool(self._holding((bar.start + bar.end) / 2, bar.axis).any())

    def holds(self, place: Place) -> bool:
        """Does a place lie in one of them, or no farther past its end than it is thick?"""
        return bool(self._holding(np.asarray(place.position)).any())

    def is_part_of(self, place: Place) -> bool:
        """Does a place lie in some of them, and is what is there far longer than each?"""
        held = self._holding(np.asarray(place.position))
        diameter, length = self._rows[: self._count, 6:].T[:, held]
        return bool(
            held.any() and ((place.extent_mm or 0.0) > LONGER * length + 2 * diameter).all()
        )

    def _holding(
        self, place: NDArray[np.float64], along: NDArray[np.float64] | None = None
    ) -> NDArray[np.bool_]:
        """Which hold a place? Given a direction, only those that run this way."""
        start, axis, (diameter, length) = np.split(self._rows[: self._count].T, [3, 6])
        step = place[:, None] - start
        far = (step * axis).sum(axis=0)
        aside = step - far * axis
        held: NDArray[np.bool_] = 4 * (aside * aside).sum(axis=0) <= diameter * diameter
        held &= (far >= -diameter) & (far <= length + diameter)
        if along is not None:
            # The arms of a cross have one middle.
            held &= np.abs(along @ axis) >= SAME_WAY
        return held


def _long(bar: Bar) -> float:
    return float(np.linalg.norm(bar.end - bar.start))


def round_place(place: Place, bar: Bar, remark: str) -> Place:
    """The same place with what is known of the bar."""
    place.value, place.lower, place.upper = bar.diameter, bar.lower, bar.upper
    place.faceting_mm = bar.sagitta
    place.remark = remark.format(bar.diameter)
    place.properties |= {"axis": bar.axis.tolist(), "diameter_mm": bar.diameter}
    if bar.is_straight:
        place.properties |= {"length_mm": bar.length, "has_end": list(bar.has_end)}
    return place
