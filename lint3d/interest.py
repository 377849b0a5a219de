"""Which values of a measure do the enabled rules care about?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from lint3d.requirement import Requirement

#: How far above the highest limit a measure still tells values apart, so that a report can say
#: by how much a part passes. common practice, no source
HEAD_ROOM = 1.25


@dataclass(frozen=True)
class Interest:
    """The range of limits, in the measure's own unit, over the enabled rules that use the measure.

    A measure resolves at least `low`, and need not tell values above `high` apart.
    Ratios, angles and counts never enter the range of a measure in mm.
    """

    low: float
    high: float
    unit: str = "mm"


def interest_of(unit: str, requirements: Iterable[Requirement]) -> Interest | None:
    """The range over those requirements that are in `unit`; None if none of them has a limit.

    Examples
    --------
    >>> interest_of("mm", [Requirement("at least", "mm", "doc", low=0.6)])
    Interest(low=0.6, high=0.75, unit='mm')
    """
    limits = [
        (limit, requirement.uncertainty)
        for requirement in requirements
        if requirement.unit == unit
        for limit in requirement.limits
    ]
    if not limits:
        return None
    low = min(max(limit - band, 0.0) for limit, band in limits)
    return Interest(low, HEAD_ROOM * max(limit + band for limit, band in limits), unit)
