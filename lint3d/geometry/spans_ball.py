"""How large is the ball that touches both ends of a contact?

Where both sides taper the line between them is shorter than the ball is thick. Lengths in mm.
Tested by tests/geometry/test_spans_steps.py and test_spans_taper.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.spans_pairs import dot
from lint3d.geometry.spans_surface import SpanSurface
from lint3d.geometry.spans_zoom import Contacts

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

SQUARE_COS = float(np.cos(np.radians(15.35)))  # a side that leans more is a ridge
LEANS_COS = float(np.cos(np.radians(1.5)))  # squarer than this the ball is that of its sides
ROUND_COS = float(np.cos(np.radians(20.0)))  # what turns less goes on round, and is no rim
ON_PLANE = 1e-6  # of a facet's longest side: so far off its plane its border may be


def ball_of(inward: Floats, contacts: Contacts) -> Floats:
    """Diameter of the ball that touches both points of a contact, by the squarer of its sides.

    Returns
    -------
    (k,) float64, mm : the distance itself at a ridge
    """
    _, lean = _squarer(inward, contacts)
    # A ridge on both sides has no square side: the ball touches along the line itself.
    ball: Floats = contacts.distance / np.where(lean >= SQUARE_COS, lean, 1.0)
    return ball


def ball_of_round_sides(surface: SpanSurface, inward: Floats, contacts: Contacts) -> Floats:
    """Diameter of the ball that what goes on round from both sides of a contact leaves room for.

    At the round tip of a blade both sides lean on the line between them, and the ball is larger
    than by either of them.

    Returns
    -------
    (k,) float64, mm : 0 where a side stands square to the line, or is a ridge
    """
    towards, lean = _squarer(inward, contacts)
    rows = np.flatnonzero((lean >= SQUARE_COS) & (lean < LEANS_COS))
    some, towards = contacts.take(rows), towards[rows]
    first, second = some.pair.T
    least = np.minimum(
        _lean_round(surface, inward, first, some.point, towards),
        _lean_round(surface, inward, second, some.contact, -towards),
    )
    ball = np.zeros(len(lean))
    ball[rows] = some.distance / least
    return ball


def _squarer(inward: Floats, contacts: Contacts) -> tuple[Floats, Floats]:
    """The way (k, 3) from one end to the other, and its cosine (k,) to the squarer side."""
    with np.errstate(divide="ignore", invalid="ignore"):
        towards = (contacts.contact - contacts.point) / contacts.distance[:, None]
    first, second = contacts.pair.T
    return towards, np.maximum(dot(inward[first], towards), -dot(inward[second], towards))


def _lean_round(
    surface: SpanSurface, inward: Floats, facet: Ints, place: Floats, towards: Floats
) -> Floats:
    """(k,) least cosine between a line and the facets that go on round from one where it ends."""
    beside = surface.neighbours[facet]
    known = beside >= 0
    beside = np.where(known, beside, facet[:, None])
    over = np.einsum("kj,knj->kn", place, inward[beside])
    over -= np.einsum("knj,knj->kn", surface.corners[beside][:, :, 0], inward[beside])
    goes_on = np.einsum("kj,knj->kn", inward[facet], inward[beside]) >= ROUND_COS
    goes_on &= known & (np.abs(over) <= ON_PLANE * surface.longest[beside])
    lean = np.einsum("kj,knj->kn", towards, inward[beside])
    return np.where(goes_on, lean, 1.0).min(axis=1, initial=1.0)
