"""Units: how many mm, and which limits can be written?"""

from __future__ import annotations

import pytest

from lint3d.errors import ConfigurationError
from lint3d.units import LENGTH_UNITS, length_factor, quantity, shown


@pytest.mark.parametrize(
    ("unit", "mm"),
    # 3MF Core Specification 1.4, section 3.4: the units of a model; the inch is 25.4 mm exactly.
    [("micron", 0.001), ("millimeter", 1), ("centimeter", 10), ("inch", 25.4), ("foot", 304.8),
     ("meter", 1000), ("um", 0.001), ("µm", 0.001), ("in", 25.4), ("ft", 304.8), ("m", 1000)],
)  # fmt: skip
def test_length_factor(unit: str, mm: float) -> None:
    assert length_factor(unit) == pytest.approx(mm, rel=1e-15)


def test_both_micro_signs_are_known() -> None:
    assert LENGTH_UNITS["\u00b5m"] == LENGTH_UNITS["\u03bcm"] == 0.001


def test_unknown_length_says_what_is_known() -> None:
    with pytest.raises(ConfigurationError, match=r"'parsec' is no unit of length; use one of mm"):
        length_factor("parsec")


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("0.8", "mm", 0.8), ("0.8mm", "mm", 0.8), (" 800 um ", "mm", 0.8), ("800µm", "mm", 0.8),
        ("800μm", "mm", 0.8), ("0.1in", "mm", 2.54), ("2cm", "mm", 20.0), ("15%", "1", 0.15),
        ("15 %", "1", 0.15), ("3", "1", 3.0), ("30deg", "deg", 30.0), ("30°", "deg", 30.0),
        ("5mm2", "mm2", 5.0), ("5mm³", "mm3", 5.0), ("90min", "min", 90.0), ("1e1mm", "mm", 10.0),
        (".5mm", "mm", 0.5), ("5.mm", "mm", 5.0), ("-1", "mm", -1.0), ("+2 mm", "mm", 2.0),
    ],
)  # fmt: skip
def test_quantity(text: str, unit: str, value: float) -> None:
    assert quantity(text, unit) == value


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        ("", "mm", "is not a number with a unit"),
        ("thick", "mm", "is not a number with a unit"),
        ("0,8mm", "mm", "no unit that a limit can have|is not a number"),
        ("nan", "mm", "is not a number"),
        ("inf", "mm", "is not a number"),
        ("1e999", "mm", "finite|is not a number"),
        ("5furlong", "mm", "'furlong' is no unit that a limit can have; use one of mm"),
        ("5deg", "mm", "'deg' does not measure what is given in 'mm'"),
        ("5mm", "mm2", "'mm' does not measure what is given in 'mm2'"),
        ("5%", "mm", "'%' does not measure what is given in 'mm'"),
        ("1 2", "mm", "no unit|is not a number"),
    ],
)
def test_quantity_refuses(text: str, unit: str, message: str) -> None:
    with pytest.raises(ConfigurationError, match=message):
        quantity(text, unit)


def test_shown() -> None:
    assert [shown(u) for u in ("mm", "mm2", "mm3", "1", "deg")] == [" mm", " mm²", " mm³", "", "°"]
