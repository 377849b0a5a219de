"""How is a pocket told: value, main place, way out, facts?

Pockets with the same narrowest place are one place, for one cut heals them all. Where very many are
alike, as in a lattice or a filter, they are one place with their distribution. Guarded by
tests/plugins/test_drain_places.py.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import Body, Claim, Place, Step
from lint3d_plugins.drain_hollows import Hollow, volumes_either_way
from lint3d_plugins.many_places import MANY, distribution, point

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.throats import Throat
    from lint3d.geometry.voids_model import Pocket, SealedPocket

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

#: Up to so many times the width of a neck its way is still the neck.
MUCH_WIDER = 1.25
#: Points of a way that are told, and pockets or openings that are listed one by one.
_MOST_STEPS, _MOST_LISTED = 32, 12


@dataclass(frozen=True, eq=False)
class Neck:
    """A narrowest place with all pockets behind it, the largest first."""

    hollow: Hollow
    throat: Throat
    pockets: tuple[Pocket, ...]

    @property
    def volume(self) -> float:
        return sum(pocket.volume for pocket in self.pockets)

    @property
    def bounds(self) -> tuple[float, float, float]:
        """Diameter, and what bounds it, mm."""
        return self.throat.diameter, self.throat.lower, self.throat.upper

    @property
    def width(self) -> str:
        """Its diameter for people."""
        if self.throat.lower <= 0:
            return f"less than {self.throat.upper:.3g} mm"
        return f"{self.throat.diameter:.4g} mm"

    @property
    def main(self) -> Pocket:
        return self.pockets[0]

    @property
    def system(self) -> int:
        """The same number for all necks of one connected hollow."""
        return self.main.way_nodes[-2] if len(self.main.way_nodes) > 1 else self.main.node


def neck_place(neck: Neck, value: tuple[float, float, float], remark: str, **facts: Any) -> Place:
    """A place for a neck: it stands at the throat, and its path leads from the pocket outside."""
    middle, lower, upper = (float(one) for one in value)
    body, faces, other = owners(neck.hollow, neck.throat.face, neck.main.faces)
    return Place(
        middle,
        lower=min(lower, middle),
        upper=max(upper, middle),
        position=neck.throat.position,
        faces=faces,
        of=body,
        other=other,
        remark=remark,
        path=steps(neck.main),
        distinct=True,
        properties={**neck_facts(neck), **facts},
    )


def neck_claim(neck: Neck) -> Claim:
    """The stretch of a way out that is about as narrow as its narrowest place."""
    throat = neck.throat
    narrow = throat.way.point[throat.way.width <= MUCH_WIDER * throat.diameter]
    return Claim(way=[throat.position, *narrow], within_mm=throat.diameter / 2)


def owners(hollow: Hollow, face: int, faces: Ints) -> tuple[Body, Ints, Body | None]:
    """The body that a face belongs to, its rows with that face first, and the next body if any."""
    body, row = hollow.group.owner(face)
    rows = hollow.group.own_rows(np.asarray(faces, np.int64), body)
    others = [one for one in hollow.group.bodies_at(np.asarray(faces, np.int64)) if one is not body]
    return body, np.concatenate([[row], rows[rows != row]]), others[0] if others else None


def neck_facts(neck: Neck) -> dict[str, Any]:
    """What scripts may want to know of a neck and the pockets behind it."""
    throat = neck.throat
    widths = sorted((o.throat.diameter for o in neck.main.openings), reverse=True)
    return {
        "volume_mm3": neck.volume,
        "pockets": len(neck.pockets),
        "pocket_positions_mm": [p.position.tolist() for p in neck.pockets[:_MOST_LISTED]],
        "pocket_volumes_mm3": [p.volume for p in neck.pockets[:_MOST_LISTED]],
        "depth_mm": max(pocket.depth for pocket in neck.pockets),
        "neck_diameter_mm": throat.diameter,
        "neck_length_mm": float(throat.length),
        "neck_direction": throat.direction.tolist(),
        "openings": len(widths),
        "opening_diameters_mm": widths[:_MOST_LISTED],
        "empties_in_order": order_of_emptying(neck.main),
    }


def order_of_emptying(pocket: Pocket) -> list[int]:
    """Chambers of the way out, the one nearest to the outside first: it must run out before."""
    return [node for node in reversed(pocket.way_nodes) if node != 0]


def steps(pocket: Pocket) -> tuple[Step, ...]:
    """The widest way out as steps with the diameter at each."""
    return steps_along(pocket, pocket.way, pocket.way_width, pocket.throat)


def steps_along(
    pocket: Pocket, way: Floats, width: Floats, throat: Throat | None = None
) -> tuple[Step, ...]:
    """A way out as steps with the diameter at each; the narrowest and the ends are among them.

    Parameters
    ----------
    way, width : (n, 3) mm and (n,) mm, from the pocket to the outside
    throat : the narrowest place of the way where it is known exactly
    """
    if len(way) == 0:
        return ()
    narrowest = int(np.argmin(width))
    if throat is not None:
        narrowest = int(np.argmin(np.linalg.norm(way - throat.position, axis=1)))
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
    rows = np.searchsorted(along, np.linspace(0.0, along[-1], _MOST_STEPS))
    rows = np.unique(np.concatenate([rows.clip(0, len(way) - 1), [0, narrowest, len(way) - 1]]))
    told = [Step(point(pocket.position), pocket.diameter, "in the pocket")]
    for row in rows.tolist():
        if row == narrowest and throat is not None:
            told.append(Step(point(throat.position), throat.diameter, "narrowest place"))
            continue
        label = "narrowest place" if row == narrowest else ""
        label = "outside" if row == len(way) - 1 else label
        told.append(Step(point(way[row]), width_or_none(width[row]), label))
    return tuple(told)


def sealed_place(hollow: Hollow, pocket: SealedPocket) -> Place:
    """A place for a hollow that nothing leads to."""
    group = hollow.group
    face = hollow.face_at(pocket.position)
    rows = pocket.faces
    as_given = as_mended = pocket.volume
    if hollow.voids.overlaps:
        # The rows are those of the common surface of overlapping bodies.
        rows = np.array([face])
    else:
        as_given, as_mended = volumes_either_way(group, pocket)
        # The body around it, and not one that lies loose in it.
        around = min(map(group.bodies.index, group.bodies_at(rows)))
        face = int(rows[np.argmax(group.body_of_face[rows] == around)])
    body, own, other = owners(hollow, face, rows)
    # Where the lids lie that close an open surface is known so well only.
    doubt = pocket.uncertainty + sum(lids.doubt for lids in group.lids.values())
    remark = f"{as_mended:.4g} mm³ are shut in; nothing leads out."
    if pocket.bodies_inside:
        remark += f" {pocket.bodies_inside} bodies lie loose in it."
    if as_given != as_mended:
        remark += (
            f" A shell around or in it is turned inside out: as the file has it, {as_given:.4g} "
            f"mm³ are hollow; if it is mended, {as_mended:.4g} mm³ (solid/inside-out tells more)."
        )
    return Place(
        as_mended,
        lower=max(min(as_given, as_mended) - doubt, 0.0),
        upper=max(as_given, as_mended) + doubt,
        position=pocket.position,
        faces=own,
        of=body,
        other=other,
        extent_mm=pocket.extent,
        remark=remark,
        distinct=True,
        properties={
            "volume_mm3": as_mended,
            "volume_as_given_mm3": as_given,
            "bodies_inside": pocket.bodies_inside,
        },
    )


def led_out(neck: Neck) -> str:
    if len(neck.pockets) == 1:
        return f"A pocket of {neck.volume:.4g} mm³ leads out through a neck"
    return (
        f"{len(neck.pockets)} pockets of {neck.volume:.4g} mm³ together lead out through one neck"
    )


def slenderness(throat: Throat) -> tuple[float, float, float]:
    """Length over diameter: value, lower, upper; no upper bound where none is known to pass."""
    passes = throat.lower > 1e-6 * throat.upper
    return (
        throat.length / throat.diameter,
        throat.length_lower / throat.upper,
        throat.length_upper / throat.lower if passes else math.inf,
    )


def summed_up(
    hollow: Hollow, found: Sequence[tuple[int, Place]], unit: str, smallest_first: bool
) -> list[Place]:
    """The places, or where there are very many alike the tightest of them for all.

    Parameters
    ----------
    found : places with the number of the connected hollow that each is part of
    smallest_first : is the smallest value the tightest?
    """
    systems: dict[int, list[Place]] = {}
    for system, place in found:
        systems.setdefault(system, []).append(place)
    groups: list[list[Place]] = []
    for places in systems.values():
        groups += [places] if len(places) > MANY else [[place] for place in places]
    if len(groups) > MANY:
        groups = [[place for _, place in found]]
    return [_as_one(hollow, places, unit, smallest_first) for places in groups]


def _as_one(hollow: Hollow, places: list[Place], unit: str, smallest_first: bool) -> Place:
    """The tightest of places for all of them, with their distribution."""
    if len(places) == 1:
        return places[0]
    # Some are known roughly only: what is shown is the one that is surely as tight as that, and the
    # tightest of all lies between the tightest bounds of either kind.
    lowers, uppers = _ends(places)
    worst = places[int(np.argmin(uppers) if smallest_first else np.argmax(lowers))]
    pick = min if smallest_first else max
    worst.lower, worst.upper = pick(lowers), pick(uppers)
    worst.value = float(np.clip(worst.value, worst.lower, worst.upper))
    values = np.array([place.value for place in places])
    name = hollow.group.bodies[0].name
    worst.remark = (
        f"{len(values)} places of this kind in '{name}', from {values.min():.4g} to "
        f"{values.max():.4g} {unit}, {np.median(values):.4g} {unit} in the middle. The "
        f"{'smallest' if smallest_first else 'largest'} is shown. {worst.remark}"
    )
    worst.properties |= {"places": len(values), "distribution": distribution(values)}
    return worst


def _ends(places: list[Place]) -> tuple[list[float], list[float]]:
    """Lower and upper bounds of some places."""
    lowers = [place.value if place.lower is None else place.lower for place in places]
    uppers = [place.value if place.upper is None else place.upper for place in places]
    return lowers, uppers


def width_or_none(width: float) -> float | None:
    """A width as a plain number; None where there is nothing around."""
    return float(width) if np.isfinite(width) else None
