"""Do the normals that an STL file stores agree with its facets?

An STL facet states its outward side twice: by the order of its corners (counter-clockwise seen from
outside) and by a stored normal. A normal of zero length is common practice for "work it out" and is
no contradiction; neither is one of another length.

Criterion: the angle between the stored normal and the corners' own is over 45° more than rounding
of the corners can turn the facet. A corner that is off by e turns a facet of smallest height h by
up to asin(2 e / h), so slivers are never accused. On 112 CAD files and the sound ones of a
collection of test files no facet came near 45°, save one whose corner is damaged.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.model import Provenance
from lint3d.readers.faultlist import FaultList, Kind

ANGLE_MAX_DEG = 45.0  # the project's own choice, see above
CHUNK = 1 << 16

CONTRADICTING = Kind(
    "facet",
    "whose stored normal contradicts the order of {its} corners",
    "Find out which side is outside, then export again with consistent normals; a part that was "
    "mirrored without turning its facets looks like this.",
)
NOT_A_NUMBER = Kind(
    "facet",
    "with a stored normal that is no finite number",
    "Export the part again; the facets themselves were inspected.",
)

LEFT_OPEN = Kind(
    "facet",
    "with a stored normal of zero, worked out from {its} corners as is common practice",
    "Nothing need be done.",
    harmless=True,
)


# Damaged data hold NaN of every kind; some of them warn at the first touch.
@np.errstate(invalid="ignore", over="ignore")
def check_normals(
    normals: NDArray[Any],
    corners: NDArray[Any],
    numbers: NDArray[np.int64] | None,
    rounding: float,
    provenance: Provenance,
    faults: FaultList,
) -> None:
    """Add what is wrong with stored normals to `faults`.

    Parameters
    ----------
    normals, corners, rounding : as for `contradicting_normals`
    numbers : (m,) what `provenance` calls each facet; None = 0 .. m-1
    """
    zero = np.flatnonzero((normals == 0).all(axis=1))
    if len(zero):  # the right normal of a facet without area
        zero = zero[(_across(corners[zero]) != 0).any(axis=1)]
    odd = np.flatnonzero(~np.isfinite(normals).all(axis=1))
    against = contradicting_normals(normals, corners, rounding)
    for kind, rows in ((NOT_A_NUMBER, odd), (CONTRADICTING, against), (LEFT_OPEN, zero)):
        if len(rows):
            first = int(rows[0] if numbers is None else numbers[rows[0]])
            faults.count(kind, provenance.locate(first), len(rows))


@np.errstate(invalid="ignore", over="ignore")
def contradicting_normals(
    normals: NDArray[Any], corners: NDArray[Any], rounding: float
) -> NDArray[np.int64]:
    """Which facets have a stored normal that points elsewhere than their corners say?

    Parameters
    ----------
    normals : (m, 3) as stored, any length; rows that are zero or not finite are passed over
    corners : (m, 3, 3) finite
    rounding : how far a coordinate may be from the designer's, as a share of the largest one

    Returns
    -------
    (k,) int64, rows, ascending

    Examples
    --------
    >>> corners = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]] * 3)
    >>> normals = np.array([[0.0, 0, 1], [0, 0, -1], [0, 0, 0]])
    >>> contradicting_normals(normals, corners, 1e-7)
    array([1])
    """
    if len(corners) == 0:
        return np.zeros(0, np.int64)
    step = rounding * max(abs(float(corners.min())), abs(float(corners.max())))
    found = [
        start + _contradicting(normals[start : start + CHUNK], corners[start : start + CHUNK], step)
        for start in range(0, len(corners), CHUNK)
    ]
    return np.concatenate(found)


def _contradicting(normals: NDArray[Any], corners: NDArray[Any], step: float) -> NDArray[np.int64]:
    stored, across = normals.astype(np.float64), _across(corners)
    agreement = np.einsum("ij,ij->i", stored, across)
    lengths = np.sqrt(np.einsum("ij,ij->i", stored, stored) * np.einsum("ij,ij->i", across, across))
    # NaN and infinity compare false on both sides and so drop out here.
    suspects = np.flatnonzero(agreement < np.cos(np.radians(ANGLE_MAX_DEG)) * lengths)
    if len(suspects) == 0:
        return suspects
    return suspects[_beyond_rounding(stored, across, corners, suspects, step)]


def _across(corners: NDArray[Any]) -> NDArray[np.float64]:
    """(m, 3) twice the area of each facet, along the normal that its corners give it."""
    a = corners[:, 1].astype(np.float64) - corners[:, 0]
    b = corners[:, 2].astype(np.float64) - corners[:, 0]
    return np.stack(
        [
            a[:, 1] * b[:, 2] - a[:, 2] * b[:, 1],
            a[:, 2] * b[:, 0] - a[:, 0] * b[:, 2],
            a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0],
        ],
        axis=1,
    )


def _beyond_rounding(
    stored: NDArray[np.float64],
    across: NDArray[np.float64],
    corners: NDArray[Any],
    rows: NDArray[np.int64],
    step: float,
) -> NDArray[np.bool_]:
    """Of the suspect rows, which ones cannot be explained by rounded corners?"""
    sides = corners[rows][:, [1, 2, 0]].astype(np.float64) - corners[rows]
    longest = np.linalg.norm(sides, axis=2).max(axis=1)
    area2 = np.linalg.norm(across[rows], axis=1)
    length = np.linalg.norm(stored[rows], axis=1)
    with np.errstate(divide="ignore"):
        cosine = np.einsum("ij,ij->i", stored[rows], across[rows]) / (area2 * length)
        turned = np.arcsin(np.minimum(1.0, 2.0 * step * longest / area2))
    allowed = np.radians(ANGLE_MAX_DEG) + 2.0 * turned
    found: NDArray[np.bool_] = np.arccos(np.clip(cosine, -1.0, 1.0)) > allowed
    return found
