"""Which bodies come near each other, and what have those in common that meet?

A part of the plugin `assembly`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from lint3d import Body, LeftOut, NotApplicable, NotMeasurable
from lint3d.geometry.facets import lie_in_plane
from lint3d.geometry.topology import is_in_pieces

if TYPE_CHECKING:
    from lint3d.geometry.clearance import Surface
    from lint3d.geometry.clearance_spots import Spot
    from lint3d.geometry.overlap import Overlap

#: mm; no process builds so narrow a gap: what is surely nearer touches. As the default weld
#: tolerance. common practice, no source
TOUCHING_MM = 1e-4


@dataclass(frozen=True, eq=False)
class Pair:
    """Two bodies whose boxes come within reach, and where they come near."""

    bodies: tuple[Body, Body]
    surfaces: tuple[Surface, Surface]
    spots: tuple[Spot, ...]

    @property
    def names(self) -> tuple[str, str]:
        """As messages call the two, in quotes; with their files if they come from two.

        Bodies of two STL files are both called "part-1".
        """
        return called(*self.bodies)

    @property
    def uncertainty_mm(self) -> float:
        """Of a distance between the two."""
        return self.surfaces[0].uncertainty_mm + self.surfaces[1].uncertainty_mm

    @property
    def closed(self) -> bool:
        return all(body.closed for body in self.bodies)

    def surely_touches(self, spot: Spot) -> bool:
        """Do the two touch there, whatever the last digits of the coordinates?"""
        return spot.distance == 0 or spot.distance + self.uncertainty_mm <= TOUCHING_MM

    def may_touch(self, spot: Spot) -> bool:
        return spot.distance <= self.uncertainty_mm or self.surely_touches(spot)


@dataclass(frozen=True, eq=False)
class Neighbours:
    """All pairs of bodies that come near, in the order of the bodies."""

    pairs: tuple[Pair, ...]
    left_out: tuple[LeftOut, ...] = ()


@dataclass(frozen=True, eq=False)
class Meeting:
    """What a pair that touches or overlaps has in common."""

    pair: Pair
    kind: Literal["touching", "overlapping", "unknown"]
    overlap: Overlap | None = None
    inner: int | None = None
    """0 or 1: that body lies wholly in the other's material"""
    reason: str = ""
    """why the kind, or the volume, is not known"""


@dataclass(frozen=True, eq=False)
class Meetings:
    """Pairs that touch or overlap, and those of which it cannot be told."""

    found: dict[Pair, Meeting] = field(default_factory=dict)


def called(one: Body, two: Body) -> tuple[str, str]:
    """What messages call two bodies, in quotes; with their files if they come from two."""
    if one.source is two.source:
        return f"'{one.name}'", f"'{two.name}'"
    return f"'{one.name}' of {one.source.name}", f"'{two.name}' of {two.source.name}"


def meeting_of(pair: Pair) -> Meeting | None:
    """What the pair has in common, None if it stays apart."""
    if any(spot.distance == 0 for spot in pair.spots):
        if not pair.closed:
            reason = open_bodies(pair, "whether they overlap or only touch").reason
            return Meeting(pair, "unknown", reason=reason)
        return _cut(pair, None)
    return _contained(pair)


def _contained(pair: Pair) -> Meeting | None:
    """Does one body lie in the other's material, though their surfaces stay apart?"""
    from lint3d.geometry.overlap import contains, may_contain

    for inner, outer in ((1, 0), (0, 1)):
        around, within = pair.surfaces[outer], pair.surfaces[inner]
        if not may_contain(around, within):
            continue
        if not pair.bodies[outer].closed:
            reason = open_bodies(pair, "whether one lies within the other").reason
            return Meeting(pair, "unknown", inner=inner, reason=reason)
        if contains(around, within.corners[0, 0]):
            return _cut(pair, inner)
    return None


def _cut(pair: Pair, inner: int | None) -> Meeting:
    """Common volume of a pair that meets."""
    from lint3d.geometry.overlap import NoSolid, common_volume

    if not pair.closed:
        return Meeting(
            pair, "overlapping", None, inner, open_bodies(pair, "how much they overlap").reason
        )
    try:
        overlap = common_volume(*pair.surfaces)
    except NoSolid as fault:
        names = pair.names if fault.which is None else (pair.names[fault.which],)
        reason = (
            f"How much of {' and '.join(pair.names)} is common cannot be told: the faces of "
            f"{' and '.join(names)} do not join as in a solid; the rules of the family 'solid' "
            "tell more."
        )
        return Meeting(pair, "unknown" if inner is None else "overlapping", None, inner, reason)
    if overlap is None or (inner is None and overlap.volume <= overlap.uncertainty):
        return Meeting(pair, "touching")
    return Meeting(pair, "overlapping", overlap, inner)


def open_bodies(pair: Pair, what: str) -> LeftOut:
    """A pair of which something cannot be told because a body is open."""
    named = zip(pair.names, pair.bodies, strict=True)
    open_ones = " and ".join(name for name, body in named if not body.closed)
    return LeftOut(
        f"Of {' and '.join(pair.names)} it cannot be told {what}: {open_ones} is open; "
        "solid/open-edge tells more.",
        of=pair.bodies[0],
    )


# --- bodies that have no neighbours ------------------------------------------------------------


def is_loose_sheet(body: Body) -> bool:
    """Is it open and in one plane, so that it encloses nothing? (solid/stray-shell fails it.)"""
    return not body.closed and lie_in_plane(body.vertices, body.faces, body.coordinate_step_mm)


def alone(bodies: Sequence[Body]) -> Exception:
    """Why one body has no neighbour; how many there are is not known of a heap of faces."""
    open_shells = sum(not shell.closed for body in bodies for shell in body.shells)
    if open_shells > 1 and is_in_pieces(bodies[0].edges):
        return NotMeasurable(
            f"'{bodies[0].name}' is in pieces, so how many bodies there are cannot be told; "
            "solid/stray-shell and solid/open-edge tell more. Join the corners that should meet."
        )
    return NotApplicable("There is only one body.")


def sheets_left_out(bodies: Sequence[Body], is_sheet: list[bool]) -> list[LeftOut]:
    """One line for all loose sheets: a file that fell into facets has thousands of pairs."""
    sheets = [body for body, loose in zip(bodies, is_sheet, strict=True) if loose]
    if not sheets:
        return []
    return [
        LeftOut(
            f"Loose sheets of faces that enclose nothing: {len(sheets)}, '{sheets[0].name}' among "
            "them. What they touch or come near to is not told; solid/stray-shell and "
            "solid/open-edge tell more. Join the corners that should meet.",
            of=sheets[0],
        )
    ]
