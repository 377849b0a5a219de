"""How do spans become places: what was looked at, which regions are told, by which rule?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lint3d import Interest, LeftOut, NotApplicable, NotMeasurable, Place, Places, Sheet
from lint3d.interest import HEAD_ROOM
from lint3d.requirement import Requirement, decide
from lint3d_plugins.far_off import far_off

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d import Joined
    from lint3d.geometry.enclosure import Caps
    from lint3d.geometry.rods_bar import Bar
    from lint3d.geometry.spans import Spans
    from lint3d.geometry.spans_regions import ThinRegion
    from lint3d.geometry.spans_surface import SpanSurface

#: A range of interest wider than this costs time and tells nothing more.
WIDEST_RANGE = 20.0
#: Samples of a field that reports are given: enough for colours.
MOST_SHOWN = 400_000
#: Places of a wall from which is judged whether it stands free.
PROBES = 64
MOSTLY_FREE = 0.75
#: A contact that leans by 15 degrees on both sides is at least so many times as long as the circle.
LEANING = 0.85
#: A surface is no solid with a few holes if closing them takes more than this share of its area.
MOST_OPEN = 0.5
#: So many regions are told one by one: of a body of a million needles the tightest.
MOST_TOLD = 5_000
#: Verdicts, each harder than those before it.
HARDER = ("pass", "review", "fail")
PASSES = HARDER.index("pass")

NEAR_HOLE = (
    "Near a hole in the surface it is not known where the material ends; "
    "solid/open-edge tells more."
)
TOO_MANY_HOLES = "The surface has too many holes; solid/open-edge tells more."


@dataclass(frozen=True, eq=False)
class Surface:
    """The surface of a body, ready to be looked at both ways, with what closes its holes."""

    spans: SpanSurface
    caps: Caps
    lies_on: Joined | None = None
    """The joined piece whose faces these are; None: the body's own"""


@dataclass(frozen=True, eq=False)
class Thickness:
    """What one look gave: how far it is across, at points spread over the surface."""

    spans: Spans
    unseen: tuple[LeftOut, ...] = ()
    lies_on: Joined | None = None
    _regions: dict[float, list[ThinRegion]] = field(default_factory=dict)
    _more: dict[float, int] = field(default_factory=dict)
    _untold: set[float] = field(default_factory=set)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """What could not be looked at, and whether there are more regions than are told."""
        return *self.unseen, *untold(max((self._more[one] for one in self._untold), default=0))

    def has_any(self, limit: float, told: float = 0.0) -> bool:
        """May any place be thinner than the limit and is not surely below what is told?"""
        below, above = self.spans.interval.T
        return bool((self.spans.measured & (below < limit) & (above >= told)).any())

    def for_reports(self) -> dict[str, Any]:
        """The field as plain arrays: where, how thick, on which face; `high` means that or more."""
        spans = self.spans
        step = max(1, -(-len(spans.value) // MOST_SHOWN))
        value = np.where(spans.measured, spans.value, spans.high)[::step]
        return {
            "point": spans.point[::step].astype(np.float32),
            "value": value.astype(np.float32),
            "face": spans.face[::step].astype(np.int32),
            "high": spans.high,
        }

    def regions(self, limit: float, passed: bool = False) -> list[ThinRegion]:
        """Connected regions that may be thinner than the limit, tightest first.

        Parameters
        ----------
        passed : none of them may break a rule, of which the tightest is told
        """
        from lint3d.geometry.spans_regions import tightest_regions

        limit = min(limit, self.spans.high)
        if limit not in self._regions:
            found, more = tightest_regions(self.spans, limit, MOST_TOLD)
            self._regions[limit], self._more[limit] = found, more
        if not passed:
            self._untold.add(limit)
        return self._regions[limit]


@dataclass(frozen=True, eq=False)
class Walls:
    """Thin regions that are walls, each told by one rule.

    A wall is told by the rule whose verdict on it is the harder one; walls/thin-wall before
    walls/free-wall.

    Attributes
    ----------
    thin, free : what is required of walls, and of free-standing ones; None where the rule is off
    """

    thickness: Thickness
    thin: Requirement | None
    free: Requirement | None
    _stands_free: dict[int, bool] = field(default_factory=dict)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        return self.thickness.left_out

    @property
    def lies_on(self) -> Joined | None:
        return self.thickness.lies_on

    def thin_below(self, limit: float, passed: bool = False) -> list[ThinRegion]:
        """Walls that may be thinner than `limit`, less those that walls/free-wall tells."""
        return [one for one in self._below(limit, 0.0, passed) if not self._is_left_to_free(one)]

    def free_below(self, limit: float, passed: bool = False) -> list[ThinRegion]:
        """Walls that stand free, may be thinner than `limit`, and are not walls/thin-wall's."""
        told = self.thin.low - self.thin.uncertainty if self.thin and self.thin.low else 0.0
        return [one for one in self._below(limit, told, passed) if self._is_for_free(one)]

    def _below(self, limit: float, told: float, passed: bool) -> list[ThinRegion]:
        if not self.thickness.has_any(limit, told):
            return []
        return [one for one in self.thickness.regions(limit, passed) if one.kind == "wall"]

    def _is_left_to_free(self, region: ThinRegion) -> bool:
        thin, free = self._verdicts(region)
        return thin < free and self._is_free(region)

    def _is_for_free(self, region: ThinRegion) -> bool:
        thin, free = self._verdicts(region)
        return (thin < free or free == PASSES) and self._is_free(region)

    def _verdicts(self, region: ThinRegion) -> tuple[int, int]:
        """How hard either rule judges a wall, if it stands free."""
        return _verdict(region, self.thin), _verdict(region, self.free)

    def _is_free(self, region: ThinRegion) -> bool:
        key = id(region)
        if key not in self._stands_free:
            self._stands_free[key] = stands_free(self.thickness, region)
        return self._stands_free[key]


@dataclass(frozen=True, eq=False)
class Bars:
    """Rods, or holes: what is thin both ways, the most slender first.

    Attributes
    ----------
    found : the straight ones
    bent : rings, hooks, coils
    """

    found: tuple[Bar, ...]
    bent: tuple[Bar, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    lies_on: Joined | None = None


def required_of(sheet: Sheet, rule: str) -> Requirement | None:
    """What is required by a rule that is on."""
    return sheet.requirement(rule) if sheet.is_on(rule) else None


def _verdict(region: ThinRegion, required: Requirement | None) -> int:
    if required is None:
        return PASSES
    return HARDER.index(decide(region.lower, region.upper, required))


def limit_of(sheet: Sheet, rule: str) -> float | None:
    """What a rule requires at least, mm, whether or not it is judged in this run."""
    required = sheet.requirement(rule)
    return required.low if required is not None else None


def untold(more: int) -> tuple[LeftOut, ...]:
    """That there are more places than are told one by one, if there are."""
    if not more:
        return ()
    return (
        LeftOut(
            f"There are {more} more such places than the {MOST_TOLD} worst, which are told one by "
            "one. Mend those, and look again."
        ),
    )


# --- looking ------------------------------------------------------------------------------------


def look_across(
    surface: Surface,
    interest: Interest,
    look: Literal["inward", "outward"],
    also: float | None = None,
) -> Thickness:
    """Spans over the range of interest, and about one limit more."""
    from lint3d.geometry.spans import spans as measured_spans

    low, high = interest.low, interest.high
    if also and also > 0:
        low, high = min(low, also) if high > 0 else also, max(high, HEAD_ROOM * also)
    if not 0 < high < np.inf:
        raise NotApplicable(
            "No rule with a limit in mm asks for it. (walls/knife-edge takes that of "
            "walls/thin-wall.)"
        )
    found = measured_spans(surface.spans, max(low, high / WIDEST_RANGE), high, look)
    left_out = []
    if not found.complete:
        left_out.append(
            LeftOut(
                "Too many large facets lie near each other for every pair to be compared; places "
                "between sample points may have been missed."
            )
        )
    if surface.spans.dropped_mm2 > low**2:
        remedy = far_off(surface.spans.vertices) or "Rebuild the mesh there."
        left_out.append(
            LeftOut(
                f"Faces of {surface.spans.dropped_mm2:.3g} mm² in all are too narrow for their "
                f"direction to be known; solid/degenerate-face tells more. {remedy}"
            )
        )
    found, near_hole = _without_unsure(surface, found)
    return Thickness(found, (*near_hole, *left_out), surface.lies_on)


def bars_of(
    surface: Surface,
    interest: Interest,
    look: Literal["inward", "outward"],
    narrow: Requirement | None,
) -> Bars:
    """Rods or holes that a rule on length over diameter, or one on the diameter, may look at.

    Parameters
    ----------
    interest : in the limits on length over diameter
    narrow : what is required of the diameter; None if nothing is
    """
    from lint3d.geometry.enclosure import is_sure
    from lint3d.geometry.rods import bars

    reach = HEAD_ROOM * narrow.low if narrow is not None and narrow.low else 0.0
    if 0 < interest.low < np.inf:
        longest = float(np.linalg.norm(np.ptp(surface.spans.vertices, axis=0)))
        reach = max(reach, HEAD_ROOM * longest / interest.low)
    if not 0 < reach < np.inf:
        raise NotApplicable("No rule with a limit asks for it.")
    found = bars(surface.spans, reach, look)
    left_out: tuple[LeftOut, ...] = ()
    if len(surface.caps.face):
        middle = np.array([(bar.start + bar.end) / 2 for bar in found]).reshape(-1, 3)
        sure = is_sure(surface.caps, middle)
        if sure is None:
            raise NotMeasurable(TOO_MANY_HOLES)
        found = [bar for bar, is_kept in zip(found, sure, strict=True) if is_kept]
        left_out = (LeftOut(NEAR_HOLE, np.unique(surface.caps.face)),)
    # A ring or a coil is no pin: length over diameter says little of it. Ducts are left to drain.
    straight = tuple(bar for bar in found if bar.is_straight)
    bent = tuple(bar for bar in found if not bar.is_straight)
    return Bars(straight, bent, left_out, surface.lies_on)


def _without_unsure(surface: Surface, found: Spans) -> tuple[Spans, list[LeftOut]]:
    """The same spans without those at places of which it is not known whether they are inside."""
    from lint3d.geometry.enclosure import is_sure

    if not len(surface.caps.face):
        return found, []
    facet = found.pair[:, 0]
    ahead = found.point + found.inward[facet] * (found.high / 2)
    measured = found.measured[:, None]
    place = np.where(measured, (found.point + found.contact_point) / 2, ahead)
    sure = is_sure(surface.caps, place)
    if sure is None:
        raise NotMeasurable(TOO_MANY_HOLES)
    pair = found.pair.copy()
    pair[~sure, 1] = -1
    faces = np.unique(np.concatenate([found.face[~sure], surface.caps.face]))
    return replace(found, pair=pair), [LeftOut(NEAR_HOLE, faces)]


# --- regions ------------------------------------------------------------------------------------


def of_kind(
    thickness: Thickness, kind: Literal["wall", "rod"], interest: Interest
) -> list[ThinRegion]:
    """Regions of a kind that may break the limit, or else the tightest that is known."""
    for limit, passed in ((interest.high / HEAD_ROOM, False), (interest.high, True)):
        found = [one for one in thickness.regions(limit, passed) if one.kind == kind]
        if found:
            return found
    return []


def round_places(thickness: Thickness, felt: Bars, interest: Interest, remark: str) -> Places:
    """Regions thin both ways, with the largest circle that fits into their section.

    Parameters
    ----------
    felt : bars found by their sides all round: those of three or five flats, which have nothing
        across from them that a wall has
    """
    from lint3d.geometry.rods_bar import bars_of_regions

    for limit, passed in ((interest.high / HEAD_ROOM, False), (interest.high, True)):
        found = [one for one in thickness.regions(limit, passed) if one.kind == "rod"]
        bars = bars_of_regions(thickness.spans, found)
        pairs = list(zip(places_of(found, remark), bars, strict=True))
        known: list[Bar] = []
        places = [*_straight_places(pairs, felt, limit, known, remark)]
        # Contacts off the middle of a side may stand apart from the bar that they are in.
        inside = (*known, *felt.found)
        rest = [
            (place, bar)
            for place, bar in pairs
            if (bar is None or not bar.is_straight)
            and not _is_in(inside, np.asarray(place.position))
        ]
        walls = [one for one in thickness.regions(limit, passed) if one.kind == "wall"]
        bent = _without_rims(felt, walls, thickness.spans.surface)
        places += _bent_places(rest, bent, limit, remark)
        if places:
            return Places(places)
    return Places()


def _straight_places(
    pairs: Sequence[tuple[Place, Bar | None]],
    felt: Bars,
    limit: float,
    known: list[Bar],
    remark: str,
) -> Iterator[Place]:
    """Straight bars, by regions and then by their sides; those that are told are put to `known`."""
    # Opposite sides of a square bar are regions of their own, and one bar.
    for place, bar in pairs:
        if bar is not None and bar.is_straight and not _is_in(known, (bar.start + bar.end) / 2):
            known.append(bar)
            yield _round_place(place, bar, remark)
    for bar in felt.found:
        middle = (bar.start + bar.end) / 2
        if bar.lower < limit and not _is_in(known, middle):
            known.append(bar)
            place = Place(bar.diameter, position=middle, faces=bar.faces, distinct=True)
            place.extent_mm = bar.extent
            yield _round_place(place, bar, remark)


def _without_rims(felt: Bars, walls: Sequence[ThinRegion], surface: SpanSurface) -> Bars:
    """Bars without those that are the rims of walls: along a rim a wall is thin both ways, too.

    The faces of a rim, or the strips of the sides next to it, share their corners with the sides of
    walls that are as thin.
    """

    def corners(rows: NDArray[np.int64]) -> NDArray[np.int64]:
        """Vertices of faces of the mesh: the surface has left some of those out."""
        return surface.faces[np.searchsorted(surface.face_ids, rows)].ravel()

    def is_rim(bar: Bar) -> bool:
        near = [corners(wall.faces) for wall in walls if wall.value <= 1.05 * bar.diameter]
        return bool(near) and bool(np.isin(corners(bar.faces), np.concatenate(near)).mean() >= 0.5)

    bent = tuple(bar for bar in felt.bent if not is_rim(bar))
    return replace(felt, bent=bent)


def _bent_places(
    rest: Sequence[tuple[Place, Bar | None]], felt: Bars, limit: float, remark: str
) -> Iterator[Place]:
    """Rings, hooks and coils, each once, and regions that are no bar."""
    told: list[Bar] = []
    bars = [(place, bar) for place, bar in rest if bar is not None]
    for place, bar in sorted(bars, key=lambda one: one[1].diameter):
        if not _is_on(told, bar.faces):
            # All faces of the bar that the region is on a side of.
            told += [
                one for one in felt.bent if _is_on([bar], one.faces) or _is_on([one], bar.faces)
            ]
            told.append(bar)
            yield _round_place(place, bar, remark)
    for bar in felt.bent:
        if bar.lower < limit and not _is_on(told, bar.faces):
            told.append(bar)
            place = Place(bar.diameter, position=bar.start, faces=bar.faces, distinct=True)
            place.extent_mm = bar.extent
            yield _round_place(place, bar, remark)
    # Contacts that lean say a little less than a bar is thick.
    for place, found in rest:
        if found is None:
            thinner = [one for one in told if one.diameter * LEANING <= (place.value or 0.0)]
            if not _is_on(thinner, np.asarray(place.faces)):
                yield place


def _is_on(bars: Sequence[Bar], faces: NDArray[np.int64]) -> bool:
    """Are more than half of some faces those of one of some bars?"""
    return any(np.isin(faces, one.faces).mean() > 0.5 for one in bars)


def _is_in(bars: Sequence[Bar], place: NDArray[np.float64]) -> bool:
    from lint3d.geometry.rods_bar import is_within

    return any(is_within(bar, place) for bar in bars)


def _round_place(place: Place, bar: Bar, remark: str) -> Place:
    """The same place with what is known of the bar."""
    place.value, place.lower, place.upper = bar.diameter, bar.lower, bar.upper
    place.faceting_mm = bar.sagitta
    place.remark = remark.format(bar.diameter)
    place.properties |= {"axis": bar.axis.tolist(), "diameter_mm": bar.diameter}
    if bar.is_straight:
        place.properties |= {"length_mm": bar.length, "has_end": list(bar.has_end)}
    return place


def slenderness_of(bar: Bar, remark: str, facts: dict[str, Any]) -> Place:
    value, lower, upper = bar.slenderness
    facts |= {"diameter_mm": bar.diameter, "axis": bar.axis.tolist()}
    return Place(
        value,
        lower=min(lower, value),
        upper=max(upper, value),
        position=(bar.start + bar.end) / 2,
        faces=bar.faces,
        extent_mm=bar.extent,
        faceting_mm=None,
        remark=remark,
        properties=facts,
    )


def stands_free(thickness: Thickness, region: ThinRegion) -> bool:
    """Do nearly all places of a wall stand free?

    Of a square web in a corner, held along two sides, half of the places do.
    """
    from lint3d.geometry.free_walls import is_free

    spans = thickness.spans
    mine = np.isin(spans.face, region.faces) & np.isin(spans.contact_face, region.faces)
    rows = np.flatnonzero(mine & spans.measured & ~spans.knife & (spans.area > 0))
    if not len(rows):
        return False
    rows = rows[:: max(1, len(rows) // PROBES)]
    free = is_free(spans.surface.scene, spans.point[rows], spans.contact_point[rows], region.axis)
    return bool(free.mean() > MOSTLY_FREE)


def places_of(found: Sequence[ThinRegion], remark: str) -> Places:
    """One place a region: ten floors under one large face are ten."""
    return Places(
        Place(
            min(max(one.value, one.lower), one.upper),
            lower=one.lower,
            upper=one.upper,
            position=(one.point + one.contact_point) / 2,
            faces=one.faces,
            distinct=True,
            ends=(one.point, one.contact_point),
            extent_mm=one.extent,
            remark=_said_of(one, remark),
            properties=_facts(one),
        )
        for one in found
    )


def _said_of(region: ThinRegion, remark: str) -> str:
    """The remark with the value; sides nearer than the coordinates tell apart lie on each other."""
    if region.value > (region.upper - region.lower) / 2:
        return remark.format(region.value)
    return remark.format(0.0) + " Its sides lie on each other."


def _facts(region: ThinRegion) -> dict[str, Any]:
    facts: dict[str, Any] = {"area_mm2": region.area}
    if region.kind == "rod":
        facts |= {"axis": region.axis.tolist(), "length_mm": region.length}
    return facts


def edges_of(thickness: Thickness, limit: float, remark: str, key: str) -> Places:
    """One place for each sharp side, with the depth of the strip narrower than the limit.

    Parameters
    ----------
    limit : mm
    remark : with the names angle, depth and limit
    key : under which the limit stands among the properties
    """
    from lint3d.geometry.spans_sharp import deepest_regions

    found, more = deepest_regions(thickness.spans, limit, MOST_TOLD)
    return Places(
        (
            Place(
                edge.depth,
                lower=edge.lower,
                upper=edge.upper,
                position=edge.point,
                faces=edge.faces,
                extent_mm=edge.extent,
                remark=remark.format(angle=edge.angle, depth=edge.depth, limit=limit),
                properties={"angle_deg": edge.angle, "edge_mm": edge.length, key: limit},
            )
            for edge in found
        ),
        (*thickness.unseen, *untold(more)),
    )
