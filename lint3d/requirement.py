"""Is what is required met, in the light of the uncertainty?

The only place in the program where a measured value is compared with a limit. The uncertainty is a
guard band in the manner of ISO 14253-1: what cannot be told is *review*, neither pass nor fail.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

from lint3d.units import shown

Kind = Literal["at least", "at most", "within", "none", "inform"]
Level = Literal["error", "warning", "note"]
#: Verdicts, and the other kinds that a SARIF result may have.
Verdict = Literal["fail", "review", "open", "pass", "informational", "notApplicable"]


@dataclass(frozen=True)
class Requirement:
    """What a process sheet asks of one characteristic.

    Parameters
    ----------
    kind : "at least", "at most", "within" (both), "none" (nothing may be found), "inform"
    low, high : the limits that the kind has, in `unit`
    uncertainty : of the limit itself, in `unit`
    """

    kind: Kind
    unit: str
    source: str
    low: float | None = None
    high: float | None = None
    uncertainty: float = 0.0
    level: Level = "error"

    @property
    def limit(self) -> float | tuple[float, float]:
        """A number, or (low, high) for "within", 0.0 for "none" and "inform"."""
        if self.kind == "within":
            assert self.low is not None
            assert self.high is not None
            return (self.low, self.high)
        return next((end for end in (self.low, self.high) if end is not None), 0.0)

    @property
    def limits(self) -> tuple[float, ...]:
        """The limits there are, for the range of interest of a measure."""
        return tuple(end for end in (self.low, self.high) if end is not None)

    def text(self) -> str:
        """For people: "at least 0.6 mm"."""
        if self.kind in ("none", "inform"):
            return self.kind
        around = f" ± {number(self.uncertainty)}" if self.uncertainty else ""
        if self.kind == "within":
            assert self.low is not None
            assert self.high is not None
            return f"{number(self.low)} to {number(self.high)}{around}{shown(self.unit)}"
        limit = self.low if self.kind == "at least" else self.high
        assert limit is not None
        return f"{self.kind} {number(limit)}{around}{shown(self.unit)}"


def decide(lower: float, upper: float | None, requirement: Requirement) -> Verdict:
    """What follows from a truth that lies between `lower` and `upper`?

    Parameters
    ----------
    lower, upper : the interval of the measured value, in the requirement's unit; None = no end
    requirement : what the sheet asks

    Returns
    -------
    "fail" if every value in the interval (widened by the limit's own uncertainty) breaks the
    requirement, "pass" if none does, "review" between; "informational" for "inform".

    References
    ----------
    ISO 14253-1: decision rules for conformity with specifications (guard band).

    Examples
    --------
    >>> at_least = Requirement("at least", "mm", "doc", low=0.6)
    >>> decide(0.5, 0.59, at_least), decide(0.58, 0.61, at_least), decide(0.6, None, at_least)
    ('fail', 'review', 'pass')
    """
    top = math.inf if upper is None else upper
    if requirement.kind == "inform":
        return "informational"
    if requirement.kind == "none":
        return "fail" if lower > 0 else "pass" if top <= 0 else "review"
    band = requirement.uncertainty
    verdicts: set[Verdict] = set()
    if requirement.low is not None:
        low = requirement.low
        fails, passes = top < low - band, lower >= low + band
        verdicts.add("fail" if fails else "pass" if passes else "review")
    if requirement.high is not None:
        high = requirement.high
        fails, passes = lower > high + band, top <= high - band
        verdicts.add("fail" if fails else "pass" if passes else "review")
    return next(verdict for verdict in ("fail", "review", "pass") if verdict in verdicts)


def relaxed(requirement: Requirement, up_to: float) -> Requirement:
    """The requirement that also allows values as bad as `up_to`.

    An end that `up_to` does not lie beyond stays as it is. The new end is a value somebody chose,
    without an uncertainty of its own.

    Examples
    --------
    >>> asked = Requirement("at least", "mm", "doc", low=0.6, uncertainty=0.05)
    >>> relaxed(asked, 0.4).text(), relaxed(asked, 0.7).text()
    ('at least 0.4 mm', 'at least 0.6 ± 0.05 mm')
    >>> relaxed(Requirement("none", "1", "doc"), 3.0).text()
    'at most 3'
    """
    if requirement.kind == "none" and up_to > 0:
        return replace(requirement, kind="at most", high=up_to, uncertainty=0.0)
    if requirement.low is not None and up_to < requirement.low:
        return replace(requirement, low=up_to, uncertainty=0.0)
    if requirement.high is not None and up_to > requirement.high:
        return replace(requirement, high=up_to, uncertainty=0.0)
    return requirement


def worsened(
    earlier: tuple[float, float | None], now: tuple[float, float | None], requirement: Requirement
) -> bool:
    """Is the value of now surely worse than the earlier one, whatever the uncertainties?

    True if it would fail even if as much were allowed as the earlier value at its worst.

    Parameters
    ----------
    earlier, now : intervals (lower, upper) of the two values, None = no end

    Examples
    --------
    >>> asked = Requirement("at least", "mm", "doc", low=0.6)
    >>> worsened((0.39, 0.41), (0.37, 0.385), asked), worsened((0.39, 0.41), (0.37, 0.395), asked)
    (True, False)
    """
    lower, upper = earlier
    allowed = requirement
    for end, way in ((lower, -1.0), (upper, 1.0)):
        if end is not None and math.isfinite(end):
            # The last bits of a sum differ when a part was turned.
            allowed = relaxed(allowed, end + way * (1e-6 * abs(end) + 1e-9))
    return decide(*now, allowed) == "fail"


def tightness(value: float, requirement: Requirement) -> float:
    """A key that sorts the worst value first."""
    if requirement.kind == "at least":
        return value
    if requirement.kind == "within":
        assert requirement.low is not None
        assert requirement.high is not None
        return min(value - requirement.low, requirement.high - value)
    return -value


def number(value: float) -> str:
    """A number for people: up to four significant digits, no exponent where it can be helped.

    Examples
    --------
    >>> number(0.6), number(12.0), number(0.01234), number(123456.7)
    ('0.6', '12', '0.01234', '123457')
    """
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else str(value)
    digits = max(0, 3 - math.floor(math.log10(abs(value))))
    if digits > 9:
        return f"{value:.2g}"
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
