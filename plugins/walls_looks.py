"""What was looked at, how far across is it, and which rods and holes are there?

A part of the plugin `walls`; it has no hooks of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from lint3d import Interest, LeftOut, NotApplicable, NotMeasurable, Sheet
from lint3d.interest import HEAD_ROOM
from lint3d.requirement import Requirement
from lint3d_plugins.far_off import far_off

if TYPE_CHECKING:
    from lint3d import Joined
    from lint3d.geometry.enclosure import Caps
    from lint3d.geometry.rods_bar import Bar
    from lint3d.geometry.spans import Spans
    from lint3d.geometry.spans_regions import Kind, ThinRegion
    from lint3d.geometry.spans_surface import SpanSurface

#: A range of interest wider than this costs time and tells nothing more.
WIDEST_RANGE = 20.0
#: Samples of a field that reports are given: enough for colours.
MOST_SHOWN = 400_000
#: A surface is no solid with a few holes if closing them takes more than this share of its area.
MOST_OPEN = 0.5
#: So many regions are told one by one: of a body of a million needles the tightest.
MOST_TOLD = 5_000
#: Of more rods, or holes, the thinnest and the most slender are worked out: whether they meet is
#: asked of all at once.
MOST_MET = 20_000

NEAR_HOLE = (
    "Near a hole in the surface it is not known where the material ends; "
    "solid/open-edge or solid/non-manifold-edge tells more."
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
    _more: dict[float, dict[Kind, int]] = field(default_factory=dict)

    @property
    def left_out(self) -> tuple[LeftOut, ...]:
        """What could not be looked at."""
        return self.unseen

    def untold(self, limit: float, kind: Kind) -> tuple[LeftOut, ...]:
        """That there are more regions of a kind below a limit than are told, if there are.

        Not where nobody asked for those below that limit.
        """
        return untold(self._more.get(min(limit, self.spans.high), {}).get(kind, 0))

    def has_any(self, limit: float, told: float = 0.0) -> bool:
        """May any place be thinner than the limit and is not surely below what is told?"""
        from lint3d.geometry.spans_between import may_have_more

        below, above = self.spans.interval.T
        at_points = (self.spans.measured & (below < limit) & (above >= told)).any()
        return bool(at_points or may_have_more(self.spans, limit))

    def for_reports(self) -> dict[str, Any]:
        """The field as plain arrays: where, how thick, on which face; `high` means that or more."""
        point, value, face = self.spans.at_every_point()
        step = max(1, -(-len(value) // MOST_SHOWN))
        return {
            "point": point[::step].astype(np.float32),
            "value": value[::step].astype(np.float32),
            "face": face[::step].astype(np.int32),
            "high": self.spans.high,
        }

    def regions(self, limit: float) -> list[ThinRegion]:
        """Connected regions that may be thinner than the limit, tightest first."""
        from lint3d.geometry.spans_regions import tightest_regions

        limit = min(limit, self.spans.high)
        if limit not in self._regions:
            found, more = tightest_regions(self.spans, limit, MOST_TOLD)
            self._regions[limit], self._more[limit] = found, more
        return self._regions[limit]


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
    from lint3d.geometry.rods import worst_bars
    from lint3d.geometry.rods_meeting import joined_in_line

    reach = HEAD_ROOM * narrow.low if narrow is not None and narrow.low else 0.0
    if 0 < interest.low < np.inf:
        longest = float(np.linalg.norm(np.ptp(surface.spans.vertices, axis=0)))
        reach = max(reach, HEAD_ROOM * longest / interest.low)
    if not 0 < reach < np.inf:
        raise NotApplicable("No rule with a limit asks for it.")
    found, more = worst_bars(surface.spans, reach, look, MOST_MET)
    if look == "outward":
        # A hole that another crosses is as deep as if none did; struts end at their nodes.
        found = joined_in_line(found)
    left_out = []
    if more:
        left_out.append(
            LeftOut(
                f"{more} more places may be such: only the {MOST_MET} thinnest, and the longest "
                "for their thickness, were worked out. Mend those, and look again."
            )
        )
    if len(surface.caps.face):
        middle = np.array([(bar.start + bar.end) / 2 for bar in found]).reshape(-1, 3)
        sure = is_sure(surface.caps, middle)
        if sure is None:
            raise NotMeasurable(TOO_MANY_HOLES)
        found = [bar for bar, is_kept in zip(found, sure, strict=True) if is_kept]
        left_out.append(LeftOut(NEAR_HOLE, np.unique(surface.caps.face)))
    # A ring or a coil is no pin: length over diameter says little of it. Ducts are left to drain.
    straight = tuple(bar for bar in found if bar.is_straight)
    bent = tuple(bar for bar in found if not bar.is_straight)
    return Bars(straight, bent, tuple(left_out), surface.lies_on)


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
