"""Which places touch, and so are one place?

Places of one rule on one mesh whose faces share a vertex are merged into one: the tightest value
stands (counts are added up), the worst face comes first, the faces are joined.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from lint3d.geometry.components import connected_groups
from lint3d.place import Place
from lint3d.requirement import Requirement, decide, tightness

if TYPE_CHECKING:
    from lint3d.model import Ints


def merge_touching(places: Sequence[Place], faces: Ints, requirement: Requirement) -> list[Place]:
    """Merge the places whose faces touch.

    Parameters
    ----------
    places : of one rule; each `faces` holds rows of `faces`
    faces : (m, 3) the mesh they lie on
    requirement : says which value is the tightest, and whether values are counts

    Returns
    -------
    list of Place, in the order of their first members
    """
    if len(places) < 2:
        return list(places)
    if any(place.distinct for place in places):
        rest = [place for place in places if not place.distinct]
        whole = [place for place in places if place.distinct]
        return [*whole, *merge_touching(rest, faces, requirement)]
    counts = [len(place.faces) for place in places]
    if not any(counts):
        return list(places)
    rows = np.concatenate([np.asarray(p.faces, np.int64) for p in places if len(p.faces)])
    owner = np.repeat(np.arange(len(places)), counts)
    # A place is linked with each vertex it touches; places at one vertex are then connected.
    vertex = np.unique(faces[rows].ravel(), return_inverse=True)[1] + len(places)
    total = int(vertex.max()) + 1
    group = connected_groups(total, np.repeat(owner, 3), vertex)[: len(places)]
    members: dict[int, list[Place]] = {}
    for place, number in zip(places, group.tolist(), strict=True):
        members.setdefault(number, []).append(place)
    return [_joined(one, requirement) for one in members.values()]


def severity(place: Place, requirement: Requirement) -> tuple[bool, float]:
    """A key that sorts what surely fails first, then the tightest value."""
    assert place.lower is not None
    verdict = decide(place.lower, place.upper, requirement)
    return (verdict != "fail", tightness(place.value, requirement))


def _joined(places: list[Place], requirement: Requirement) -> Place:
    if len(places) == 1:
        return places[0]
    worst = min(places, key=lambda place: severity(place, requirement))
    ordered = [worst, *(place for place in places if place is not worst)]
    rows = np.concatenate([np.asarray(place.faces, np.int64) for place in ordered])
    first = np.unique(rows, return_index=True)[1]
    joined = replace(worst, faces=rows[np.sort(first)], extent_mm=None)
    if requirement.kind == "none":
        joined.value = sum(place.value for place in places)
        joined.lower = sum(place.lower or 0.0 for place in places)
        joined.upper = sum(p.value if p.upper is None else p.upper for p in places)
    return joined
