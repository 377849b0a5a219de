"""How is a result said to people?

The words that every report for people shares: what is required, what was measured, where it is, and
the sentences of a whole result.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from urllib.parse import unquote

from lint3d.inspection import Override, Result
from lint3d.report.figures import figures
from lint3d.report.plain import writable
from lint3d.requirement import Requirement, number
from lint3d.units import shown

#: What each kind of result means, in the order in which people want to see them.
MEANINGS: dict[str, str] = {
    "fail": "the requirement is broken",
    "open": "could not be measured, so nothing is known",
    "review": "too near the limit to tell, so a person decides",
    "informational": "for information",
    "pass": "the requirement is met",
    "notApplicable": "nothing here that it could concern",
}
#: Where each kind stands in a list.
RANK: dict[str, int] = {kind: rank for rank, kind in enumerate(MEANINGS)}
#: What stands for a value where there is none.
_UNMEASURED = {"notApplicable": "–", "informational": "–", "pass": "none found"}


def requirement_text(requirement: Requirement | None) -> str:
    """What is asked: "at least 0.6 mm"; "–" where nothing is."""
    if requirement is None or requirement.kind == "inform":
        return "–"
    return requirement.text()


def with_signs(asked: str) -> str:
    """A requirement in fewer letters.

    Examples
    --------
    >>> with_signs("at least 0.6 mm"), with_signs("at most 5 mm³"), with_signs("2 to 1000 mm")
    ('≥ 0.6 mm', '≤ 5 mm³', '2 to 1000 mm')
    """
    return asked.replace("at least ", "≥ ").replace("at most ", "≤ ")


def measured_text(result: Result, unit: str = "1") -> str:
    """What was measured: "0.212 ± 0.003 mm", "≥ 5.1 mm", "12", "not measured", "none found", "–".

    Parameters
    ----------
    unit : UCUM code of the rule, for a result without a requirement
    """
    value = result.measured
    if value is None or not math.isfinite(value):
        return _UNMEASURED.get(result.kind, "not measured")
    unit = result.requirement.unit if result.requirement else unit
    lower = value if result.lower is None else result.lower
    upper = value if result.lower is None else result.upper
    if upper is not None and not math.isfinite(upper):
        upper = None
    if not math.isfinite(lower):
        return f"about {number(value)}{shown(unit)}"
    return figures(value, lower, upper, unit, result.requirement) + shown(unit)


def position_text(position: Sequence[float]) -> str:
    """Coordinates to a tenth of a millimetre, near enough to find the place.

    Examples
    --------
    >>> position_text((12.04, -0.01, 101.26))
    '12.0, 0.0, 101.3'
    """
    return ", ".join(f"{round(x, 1) + 0.0:.1f}" for x in position)


def file_text(uri: str) -> str:
    """The file's name as people know it: "tide gauge.stl", not "tide%20gauge.stl"."""
    return unquote(uri, errors="backslashreplace")


def sentence(text: str) -> str:
    """The text on one line, ending as a sentence does.

    Examples
    --------
    >>> sentence("two lines\\n  of it"), sentence("Done."), sentence("")
    ('two lines of it.', 'Done.', '')
    """
    line = " ".join(text.split())
    return line if not line or line[-1] in ".!?…" else line + "."


def where_text(result: Result) -> str:
    """Where it is: "At 12.0, 0.0, 101.3 mm in body 'lid' of 'kit.3mf'."."""
    words = []
    if result.position is not None:
        words.append(f"at {position_text(result.position)} mm")
    if result.body is not None:
        words.append(f"in body '{result.body}'")
    elif result.part is not None:
        words.append(f"in part '{result.part}'")
    if result.uri:
        words.append(f"{'of' if words else 'in'} '{file_text(result.uri)}'")
    text = " ".join(words)
    return sentence(text[:1].upper() + text[1:])


def other_text(result: Result) -> str:
    """The second body of a pair: "The other body: 'pin' of 'hinge.stl'."; empty without one."""
    if result.other is None:
        return ""
    elsewhere = result.other_uri if result.other_uri != result.uri else None
    of_file = f" of '{file_text(elsewhere)}'" if elsewhere else ""
    return f"The other body: '{result.other}'{of_file}."


def since_text(result: Result) -> str:
    """What it is against an earlier report; empty without one, and where nothing changed."""
    before = result.earlier
    if result.state == "new":
        return "New since the earlier report."
    if result.state != "updated" or before is None:
        return ""
    unit = result.requirement.unit if result.requirement else "1"
    then = Result(
        result.rule, before.kind, "", result.uri, requirement=result.requirement,
        measured=before.measured, lower=before.lower, upper=before.upper,
    )  # fmt: skip
    word = {"fail": "failed", "pass": "passed"}.get(before.kind, before.kind)
    said = (
        f"In the earlier report it {word}" if word in ("failed", "passed") else f"Earlier: {word}"
    )
    if before.measured is not None:
        said += f", {measured_text(then, unit)}"
    return f"{said}; now it is worse." if result.is_worse else f"{said}."


def override_key(item: Override) -> tuple[str, str, str]:
    """Order of overrides: by rule, then what holds for all files before what holds for one."""
    return (item.rule, item.uri or "", item.origin)


def count(number_of: int, one: str, many: str = "") -> str:
    """A number of things.

    Examples
    --------
    >>> count(1, "face"), count(1236, "face"), count(2, "body", "bodies")
    ('1 face', '1,236 faces', '2 bodies')
    """
    return f"{number_of:,} {one if number_of == 1 else many or one + 's'}"


def full_text(result: Result, unit: str = "1") -> str:
    """Everything that is to say of a result, in plain sentences.

    What was found or why it is open; measured against required, with the source of the limit; by
    how much the facets may differ from the smooth shape; where; remarks.
    """
    parts = [sentence(result.message), _measured_sentence(result, unit)]
    if result.faceting:
        parts.append(
            f"The smooth shape may differ from its facets by up to {number(result.faceting)} mm."
        )
    parts += [where_text(result), other_text(result)]
    parts.extend(sentence(remark) for remark in result.remarks)
    return writable(" ".join(part for part in parts if part))


def _measured_sentence(result: Result, unit: str) -> str:
    measured, asked = measured_text(result, unit), requirement_text(result.requirement)
    said = {"–": "", "none found": "", "not measured": "Not measured"}.get(
        measured, f"Measured {measured}"
    )
    if asked != "–" and result.requirement is not None:
        source = f" ({result.requirement.source})" if result.requirement.source else ""
        said = f"{said}; required: {asked}{source}" if said else f"Required: {asked}{source}"
    return sentence(said)
