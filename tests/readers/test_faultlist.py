"""Many faults of a kind become one sentence."""

from __future__ import annotations

from lint3d import Region
from lint3d.readers.faultlist import FaultList, Kind

BAD = Kind("facet", "that {is} bad in {its} way", "Mend it.")
NOTE = Kind("body", "worth knowing", "Nothing need be done.", harmless=True)


def test_one() -> None:
    faults = FaultList()
    faults.count(BAD, Region(byte_offset=134, facet=1))
    (fault,) = faults.faults()
    assert fault.message == "has 1 facet that is bad in its way (at facet 1, byte 134)."
    assert (fault.remedy, fault.count, fault.harmless) == ("Mend it.", 1, False)


def test_many_are_counted_and_the_first_is_named() -> None:
    faults = FaultList()
    faults.count(BAD, Region(start_line=9), 3)
    faults.count(BAD, Region(start_line=99), 2)
    (fault,) = faults.faults()
    assert fault.message == "has 5 facets that are bad in their way (first at line 9)."
    assert fault.count == 5
    assert fault.region == Region(start_line=9)


def test_none_is_no_fault() -> None:
    faults = FaultList()
    faults.count(BAD, Region(), 0)
    assert faults.faults() == []
    assert not faults.has(BAD)


def test_order_of_first_meeting() -> None:
    faults = FaultList()
    faults.count(NOTE, Region())
    faults.add("is odd.", "Look.")
    faults.count(BAD, Region())
    faults.count(NOTE, Region())
    assert [fault.message for fault in faults.faults()] == [
        "has 2 bodies worth knowing.",
        "is odd.",
        "has 1 facet that is bad in its way.",
    ]


def test_reason_for_an_unreadable_file_is_the_first_real_fault() -> None:
    faults = FaultList()
    assert str(faults.unreadable("holds nothing.", "Retry.")) == "holds nothing."
    faults.count(NOTE, Region())
    faults.count(BAD, Region(start_line=4))
    error = faults.unreadable("holds nothing.", "Retry.")
    assert str(error) == "holds nothing. It has 1 facet that is bad in its way (at line 4)."
    assert (error.remedy, error.region) == ("Mend it.", Region(start_line=4))
