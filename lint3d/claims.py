"""One place, one owner: which rule tells of a place that several rules see?

A rule declared with `claims=("walls/thin-wall", …)` yields a `Claim` for what it judges itself. The
rules named then leave out their places there. A rule that is off, open or broken claims nothing, so
the others still tell.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d.errors import PluginError
from lint3d.joined import Joined, on_one_body
from lint3d.model import Body, Part
from lint3d.needs import circle_in
from lint3d.place import Claim, Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

#: A place is claimed if at least so much of its area lies on claimed faces.
MOSTLY = 0.5


def refuse_circles(claims: Mapping[str, Sequence[str]]) -> None:
    """Rules that claim from each other would all be silent.

    Parameters
    ----------
    claims : for each rule the rules that it claims from

    Raises
    ------
    PluginError : names the rules
    """
    circle = circle_in(claims)
    if not circle:
        return
    raise PluginError(
        f"rules claim places from each other in a circle: {' -> '.join(reversed(circle))}. "
        "Leave one of the claims out."
    )


@dataclass(frozen=True, eq=False)
class _Way:
    """A line in space round which places are claimed."""

    points: NDArray[np.float64]
    """(n, 3) mm"""
    reach: float
    rule: str

    def is_near(self, position: Sequence[float] | NDArray[Any]) -> bool:
        start, end = self.points[:-1], self.points[1:]
        if len(start) == 0:
            start = end = self.points
        along = end - start
        square = np.einsum("ij,ij->i", along, along)
        away = np.asarray(position, float) - start
        share = np.einsum("ij,ij->i", away, along) / np.where(square > 0, square, 1.0)
        nearest = start + np.clip(share, 0, 1)[:, None] * along
        return bool(np.linalg.norm(np.asarray(position) - nearest, axis=1).min() <= self.reach)


class Claims:
    """What rules have claimed so far, for one job."""

    def __init__(self) -> None:
        self._owners: dict[tuple[str, Body], dict[str, NDArray[np.bool_]]] = {}
        self._ways: dict[str, list[_Way]] = {}
        self._groups: dict[str, list[tuple[frozenset[Body], str]]] = {}

    def add(self, claim: Claim, owner: Any, rule: str, others: Sequence[str]) -> None:
        """Take down a claim.

        Parameters
        ----------
        owner : what its faces belong to
        rule : who claims
        others : the rules that it claims from
        """
        for body, rows in _by_body(claim, owner):
            for other in others:
                masks = self._owners.setdefault((other, body), {})
                mask = masks.setdefault(rule, np.zeros(len(body.faces), bool))
                mask[rows] = True
        if len(claim.way):
            points = np.asarray(claim.way, float).reshape(-1, 3)
            for other in others:
                self._ways.setdefault(other, []).append(_Way(points, claim.within_mm, rule))
        if len(claim.between):
            for other in others:
                self._groups.setdefault(other, []).append((frozenset(claim.between), rule))

    def sift(
        self, rule: str, places: Sequence[Place], subject: Any
    ) -> tuple[list[Place], list[str]]:
        """The places that are left to a rule, and the rules that tell of the others."""
        kept: list[Place] = []
        owners: set[str] = set()
        for place in places:
            owner = self._owner(rule, on_one_body(place), subject)
            if owner is None:
                kept.append(place)
            else:
                owners.add(owner)
        return kept, sorted(owners)

    def _owner(self, rule: str, place: Place, subject: Any) -> str | None:
        """The rule that has claimed a place, None if none has."""
        if place.position is not None:
            for way in self._ways.get(rule, ()):
                if way.is_near(place.position):
                    return way.rule
        body = _body(place.of if place.of is not None else subject)
        for bodies, owner in self._groups.get(rule, ()):
            if body in bodies and place.other in bodies:
                return owner
        masks = self._owners.get((rule, body), {}) if body is not None else {}
        if not masks or body is None or not len(place.faces):
            return None
        rows = np.asarray(place.faces, np.int64)
        corners = body.vertices[body.faces[rows]]
        across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        area = np.linalg.norm(across, axis=1)
        shares = {name: float(area[mask[rows]].sum()) for name, mask in masks.items()}
        best = max(sorted(shares), key=shares.__getitem__)
        claimed = np.any([mask[rows] for mask in masks.values()], axis=0)
        return best if area[claimed].sum() >= MOSTLY * area.sum() and claimed.any() else None


def _body(owner: Any) -> Body | None:
    if isinstance(owner, Part) and len(owner.bodies) == 1:
        return owner.bodies[0]
    return owner if isinstance(owner, Body) else None


def _by_body(claim: Claim, owner: Any) -> list[tuple[Body, NDArray[np.int64]]]:
    """The claimed faces, body by body."""
    if not len(claim.faces):
        return []
    if isinstance(owner, Joined):
        return [(body, owner.own_rows(claim.faces, body)) for body in owner.bodies_at(claim.faces)]
    body = _body(owner)
    if body is None:
        raise ValueError("a claim names faces; say with `of` which body's they are")
    return [(body, np.asarray(claim.faces, np.int64))]
