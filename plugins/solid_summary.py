"""How are very many faults of one kind told in one result?

One cause, such as corners that miss each other all over a mesh, makes a fault at every corner.
Guarded by tests/plugins/test_solid_summary.py.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d import Body, Place, Step
from lint3d_plugins.many_places import MANY, distribution, point

#: So many of the worst places are listed one by one.
MOST_LISTED = 12


def summed_up(body: Body, places: Iterable[Place], smallest_first: bool = False) -> list[Place]:
    """The places, or one for all of them where there are more than `MANY`.

    Parameters
    ----------
    body : the body whose faces the places name
    places : of one rule
    smallest_first : is the smallest value the worst, and not the largest?

    Returns
    -------
    list of Place : of many, one with the value, position and first face of the worst; its
        properties `places`, `distribution`, `box_mm` and `worst_places`, and `related`, tell of
        the others. Of counts it holds the sum (`counted_up`).
    """
    found = list(places)
    if len(found) <= MANY:
        return found
    ordered = _worst_first(body, found, smallest_first)
    worst = ordered[0]
    values = np.array([place.value for place in found])
    worst.faces, worst.distinct, worst.extent_mm = _all_faces(ordered), True, None
    worst.position = point(_middle(body, ordered[0]))
    low, high = _box(body, worst.faces)
    worst.remark = (
        f"{len(found)} places of this kind in '{body.name}', of {values.min():.4g} to "
        f"{values.max():.4g}, {np.median(values):.4g} in the middle: most likely of one cause. "
        f"They lie between ({_text(low)}) and ({_text(high)}) mm. The worst is shown."
    )
    worst.related = [
        Step(point(_middle(body, place)), float(place.value), f"Place {number} of the worst")
        for number, place in enumerate(ordered[:MOST_LISTED], start=1)
    ]
    worst.properties = {
        **worst.properties,
        "places": len(found),
        "distribution": distribution(values),
        "box_mm": [low.tolist(), high.tolist()],
        "worst_places": [_listed(body, place) for place in ordered[:MOST_LISTED]],
    }
    return [worst]


def counted_up(body: Body, places: Iterable[Place]) -> list[Place]:
    """`summed_up` for counts of faults: the value of one place for many is their sum."""
    found = list(places)
    total = sum(place.value for place in found)
    summed = summed_up(body, found)
    if len(summed) < len(found):
        summed[0].value = summed[0].lower = summed[0].upper = total
    return summed


def _worst_first(body: Body, places: list[Place], smallest_first: bool) -> list[Place]:
    """By value; equal ones by where they lie, so that the order of the faces changes nothing."""
    values = np.array([place.value for place in places])
    middle = np.array([_middle(body, place) for place in places])
    order = np.lexsort((*middle.T, values if smallest_first else -values))
    return [places[row] for row in order.tolist()]


def _middle(body: Body, place: Place) -> NDArray[np.float64]:
    """Where a place is shown: its own position, or the middle of its first face."""
    if place.position is not None:
        return np.asarray(place.position, np.float64)
    middle: NDArray[np.float64] = body.vertices[body.faces[place.faces[0]]].mean(axis=0)
    return middle


def _all_faces(places: list[Place]) -> NDArray[np.int64]:
    """The faces of all places, each once, those of the first place first."""
    rows = np.concatenate([np.asarray(place.faces, np.int64) for place in places])
    return rows[np.sort(np.unique(rows, return_index=True)[1])]


def _box(body: Body, faces: Any) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    corners = body.vertices[body.faces[faces].ravel()]
    return corners.min(axis=0), corners.max(axis=0)


def _listed(body: Body, place: Place) -> dict[str, Any]:
    return {"position_mm": _middle(body, place).tolist(), "value": float(place.value)}


def _text(position: NDArray[np.float64]) -> str:
    return ", ".join(f"{x:.5g}" for x in position.tolist())
