"""How many digits may a measured value be shown with?

The uncertainty is rounded up to two significant digits and the value to the same place, but no
finer than a process resolves. What is shown never claims more than was measured: the shown interval
holds the measured one, and leads to the same verdict.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import NamedTuple

from lint3d.report.plain import DIGITS, rounded
from lint3d.requirement import Requirement, decide, number

#: Nobody builds or measures finer than this: a smaller uncertainty is shown as this much.
#: Common practice, no source. A finer figure is still shown where the verdict hangs on it.
RESOLUTION: dict[str, Decimal] = {
    "mm": Decimal("0.001"),
    "mm2": Decimal("0.01"),
    "mm3": Decimal("0.01"),
    "deg": Decimal("0.01"),
    "min": Decimal("0.1"),
    "MPa": Decimal("0.01"),
}
_FINEST = Decimal("0.001")


class Shown(NamedTuple):
    """A way to write a measured value, and the interval that a reader takes from it."""

    text: str
    lower: float
    upper: float | None


def figures(
    measured: float,
    lower: float,
    upper: float | None,
    unit: str,
    requirement: Requirement | None = None,
) -> str:
    """The measured value as people write it, without its unit.

    Parameters
    ----------
    measured, lower, upper : finite; the truth lies between the last two; `upper` None means that
        nothing is known but the lower end
    unit : UCUM code, which says how fine a figure makes sense
    requirement : what the value is compared with, if anything

    Returns
    -------
    "0.212 ± 0.003"; "12" for an exact number; "≥ 5.1" for a lower bound; "0.58 to 0.7" where a
    lopsided interval, written with ±, would look like another verdict

    Examples
    --------
    >>> figures(0.212, 0.209, 0.215, "mm")
    '0.212 ± 0.003'
    >>> figures(0.2123, 0.21229, 0.21231, "mm"), figures(12, 12, 12, "1")
    ('0.212 ± 0.001', '12')
    >>> figures(5.1, 5.1, None, "mm")
    '≥ 5.1'
    >>> asked = Requirement("at least", "mm", "our own", low=0.6)
    >>> figures(0.59997, 0.59996, 0.59998, "mm", asked), figures(0.59, 0.5, 0.599, "mm", asked)
    ('0.59997 ± 0.00001', '0.5 to 0.599')
    """
    ways = _ways(measured, lower, upper, unit)
    way = next(ways)
    if requirement is not None:
        truth = decide(lower, upper, requirement)
        while decide(way.lower, way.upper, requirement) != truth:
            finer = next(ways, None)
            if finer is None:
                break
            way = finer
    return way.text


def _ways(measured: float, lower: float, upper: float | None, unit: str) -> Iterator[Shown]:
    """Ways to write the value, the plainest first."""
    if upper is None:
        yield from _at_least(lower)
    elif lower == upper:
        yield Shown(text := number(measured), float(text), float(text))
        yield Shown(f"{measured:.{DIGITS}g}", measured, measured)
    else:
        yield from _with_uncertainty(measured, lower, upper, unit)
        yield from _from_to(lower, upper)


def _at_least(lower: float) -> Iterator[Shown]:
    """A lower bound, rounded down; three significant digits first."""
    exact = _decimal(lower)
    for digits in range(3, DIGITS + 1):
        end = exact.quantize(_place(exact, digits), ROUND_FLOOR)
        yield Shown(f"≥ {_written(end)}", float(end), None)


def _with_uncertainty(measured: float, lower: float, upper: float, unit: str) -> Iterator[Shown]:
    """value ± uncertainty; the uncertainty also covers what rounding moved the value by."""
    value = _decimal(measured)
    around = max(_decimal(measured - lower), _decimal(upper - measured), Decimal(0))
    finest = RESOLUTION.get(unit, _FINEST)
    step = finest if around <= finest / 2 else _place(around, 2)
    step = max(step, _place(value, DIGITS))
    for _ in range(4):
        middle = value.quantize(step, ROUND_HALF_EVEN)
        band = (around + abs(value - middle)).quantize(step, ROUND_CEILING)
        yield Shown(_pair(middle, band), float(middle - band), float(middle + band))
        step /= 10


def _from_to(lower: float, upper: float) -> Iterator[Shown]:
    """Both ends, rounded outward; two significant digits of the width first."""
    bottom, top = _decimal(lower), _decimal(upper)
    step = _place(top - bottom, 2)
    for _ in range(DIGITS):
        low, high = bottom.quantize(step, ROUND_FLOOR), top.quantize(step, ROUND_CEILING)
        yield Shown(f"{_written(low)} to {_written(high)}", float(low), float(high))
        step /= 10


def _decimal(value: float) -> Decimal:
    """The number as it is written to nine digits: 0.3 − 0.1 is 0.2, not 0.19999999999999998."""
    near = rounded(value)
    assert near is not None, "figures are for finite numbers"
    return Decimal(repr(near))


def _place(value: Decimal, digits: int) -> Decimal:
    """The place of the last of so many significant digits: 0.01 for 0.123 and two digits."""
    leading = 0 if value == 0 else math.floor(math.log10(abs(value)))
    return Decimal(1).scaleb(leading - digits + 1)


def _pair(middle: Decimal, band: Decimal) -> str:
    """Both to the same place, without a zero that both end in."""
    left, right = f"{middle:f}", f"{band:f}"
    while "." in left and left[-1] == right[-1] == "0":
        left, right = left[:-1].rstrip("."), right[:-1].rstrip(".")
    return f"{left} ± {right}"


def _written(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
