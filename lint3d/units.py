"""Which units are understood, and how are they converted?

Inside everything is mm, mm2, mm3, degrees, minutes. UCUM codes name units in sheets and reports.
"""

from __future__ import annotations

import math
import re

from lint3d.errors import ConfigurationError

#: mm in one of each; the names are those of 3MF Core 1.4, section 3.4, and their short forms.
LENGTH_UNITS: dict[str, float] = {
    "micron": 0.001,
    "um": 0.001,
    "µm": 0.001,
    "μm": 0.001,
    "mm": 1.0,
    "millimeter": 1.0,
    "millimetre": 1.0,
    "cm": 10.0,
    "centimeter": 10.0,
    "centimetre": 10.0,
    "in": 25.4,
    "inch": 25.4,
    "ft": 304.8,
    "foot": 304.8,
    "m": 1000.0,
    "meter": 1000.0,
    "metre": 1000.0,
}
#: Units that a limit may be written in: UCUM code that it is converted to, and the factor.
LIMIT_UNITS: dict[str, tuple[str, float]] = {
    "mm": ("mm", 1.0),
    "um": ("mm", 0.001),
    "µm": ("mm", 0.001),
    "μm": ("mm", 0.001),
    "in": ("mm", 25.4),
    "cm": ("mm", 10.0),
    "mm2": ("mm2", 1.0),
    "mm²": ("mm2", 1.0),
    "mm3": ("mm3", 1.0),
    "mm³": ("mm3", 1.0),
    "deg": ("deg", 1.0),
    "°": ("deg", 1.0),
    "min": ("min", 1.0),
    "MPa": ("MPa", 1.0),
    "%": ("1", 0.01),
    "1": ("1", 1.0),
}
#: How a unit is written for people.
SHOWN = {"mm2": "mm²", "mm3": "mm³", "1": "", "deg": "°"}

_QUANTITY = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S*)\s*")


def length_factor(unit: str) -> float:
    """How many mm is one of `unit`?

    Raises
    ------
    ConfigurationError : the unit is unknown
    """
    try:
        return LENGTH_UNITS[unit]
    except KeyError:
        raise ConfigurationError(
            f"'{unit}' is no unit of length; use one of mm, um, cm, m, in, ft."
        ) from None


def quantity(text: str, unit: str) -> float:
    """The number in `text`, converted to the UCUM code `unit`; no unit in the text means `unit`.

    Raises
    ------
    ConfigurationError : not a number, or a unit that does not measure the same thing

    Examples
    --------
    >>> quantity("0.8", "mm"), quantity("800um", "mm"), quantity("15 %", "1")
    (0.8, 0.8, 0.15)
    """
    found = _QUANTITY.fullmatch(text)
    if not found or not math.isfinite(float(found[1])):
        raise ConfigurationError(f"'{text}' is not a number with a unit, such as 0.8mm.")
    number, written = float(found[1]), found[2]
    return number if not written else round(number * unit_factor(written, unit), 12)


def unit_factor(written: str, unit: str) -> float:
    """What to multiply a number in `written` with to have it in the UCUM code `unit`."""
    code, factor = LIMIT_UNITS.get(written, (None, 1.0))
    if code is None:
        known = ", ".join(LIMIT_UNITS)
        raise ConfigurationError(
            f"'{written}' is no unit that a limit can have; use one of {known}."
        )
    if code != unit:
        raise ConfigurationError(f"'{written}' does not measure what is given in '{unit}'.")
    return factor


def shown(unit: str) -> str:
    """The unit as people write it, with a space before it where one belongs."""
    text = SHOWN.get(unit, unit)
    return text if text in ("", "°") else f" {text}"
