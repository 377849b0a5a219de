"""How large must an opening be that is made or widened?

The limits of the rules that judge it then, as the sheet has them in this run. Lengths in mm.
Guarded by tests/plugins/test_drain_remedies.py.
"""

from __future__ import annotations

from lint3d import Sheet
from lint3d.requirement import number

_NECK, _VENT = "drain/narrow-neck", "drain/no-vent"


def wide_enough(sheet: Sheet, rule: str) -> str | None:
    """The width that meets a limit beyond its uncertainty, in words; None: the sheet has no limit.

    Examples
    --------
    >>> from lint3d import Requirement
    >>> from lint3d.sheet import Entry
    >>> entry = Entry("a/b", Requirement("at least", "mm", "doc", low=6.8, uncertainty=3.4))
    >>> wide_enough(Sheet("s", "S", ("s",), {"a/b": entry}), "a/b")
    'at least 10.2 mm'
    """
    requirement = sheet.requirement(rule)
    if requirement is None or requirement.low is None:
        return None
    return f"at least {number(requirement.low + requirement.uncertainty)} mm"


def to_open(sheet: Sheet) -> str | None:
    """What opens a sealed pocket. None, here and below: no size is known, the rule's words do."""
    wide = wide_enough(sheet, _NECK)
    return wide and (
        f"open the pocket with two holes or more, each {wide} wide and far from the other, or fill "
        "it in the design."
    )


def to_widen(sheet: Sheet) -> str | None:
    """What cures a narrow neck."""
    wide = wide_enough(sheet, _NECK)
    return wide and f"widen the neck to {wide}, or give the pocket another opening as wide."


def to_vent(sheet: Sheet) -> str | None:
    """What lets air into a pocket."""
    wide, alone = wide_enough(sheet, _NECK), wide_enough(sheet, _VENT)
    return (
        wide
        and alone
        and (
            f"give the pocket a second opening, {wide} wide and far from the first, or widen the "
            f"one it has to {alone}."
        )
    )
