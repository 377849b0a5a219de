"""What is there, and what does it mean? Text for `lint3d list` and `lint3d explain`."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from lint3d.errors import Lint3dError
from lint3d.tomlfile import nearest

if TYPE_CHECKING:
    from lint3d.api import Prepared
    from lint3d.requirement import Requirement

WIDTH = 80


def listed(prepared: Prepared, what: str) -> str:
    """The lines of `lint3d list WHAT`."""
    rows = {
        "rules": _rules,
        "measures": _measures,
        "sheets": _sheets,
        "plugins": _plugins,
        "readers": _readers,
    }[what](prepared)
    if not rows:
        return f"no {what}"
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]) - 1)]
    lines = []
    for row in rows:
        start = (
            "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=False)) + "  "
        )
        room = max(WIDTH - len(start), 24)
        wrapped = textwrap.wrap(row[-1], room) or [""]
        lines.append((start + wrapped[0]).rstrip())
        lines += [" " * len(start) + line for line in wrapped[1:]]
    return "\n".join(lines)


def _rules(prepared: Prepared) -> list[tuple[str, ...]]:
    general = prepared.requirements.general
    rows: list[tuple[str, ...]] = []
    for rule_id, rule in sorted(prepared.requirements.rules.items()):
        requirement = general.requirements.get(rule_id)
        required = requirement.text() if requirement else f"off ({general.off.get(rule_id, '')})"
        rows.append((rule_id, required, rule.title))
    return rows


def _measures(prepared: Prepared) -> list[tuple[str, ...]]:
    registry = prepared.registry
    return [
        (name, measure.unit, registry.owner_of("measure", name), measure.title)
        for name, measure in sorted(registry.measures.items())
    ]


def _sheets(prepared: Prepared) -> list[tuple[str, ...]]:
    from lint3d.sheet import read_sheet

    registered = prepared.registry.sheets
    return [(name, read_sheet(name, registered).title) for name in sorted(registered)]


def _plugins(prepared: Prepared) -> list[tuple[str, ...]]:
    rows = [
        (facts.name, facts.version or "-", facts.summary)
        for facts in prepared.registry.plugins.values()
    ]
    rows += [(name, "-", "disabled: not imported") for name in prepared.registry.disabled]
    rows += [(p.plugin or "?", "-", p.message) for p in prepared.registry.problems]
    return sorted(rows)


def _readers(prepared: Prepared) -> list[tuple[str, ...]]:
    registry = prepared.registry
    return [
        (name, registry.owner_of("reader", name), " ".join(reader.suffixes))
        for name, reader in sorted(registry.readers.items())
    ]


#: What each word in the first column of the table means.
VERDICTS = {
    "FAIL": "The requirement is broken, even if the uncertainty is taken in the part's favour. "
    "Correct the model as the remedy says.",
    "REVIEW": "The value is too near the limit to tell: the limit lies within the value's "
    "uncertainty. A person decides; --fail-on review makes it count as a failure.",
    "OPEN": "It could not be measured, and the message says why. Nothing is known, so it is no "
    "pass; --fail-on open makes it count as a failure.",
    "INFO": "Worth knowing. Nothing is required.",
    "PASS": "The requirement is met, even if the uncertainty is taken against the part.",
    "N/A": "There is nothing of the kind to look at, and the message says why.",
}


def explained(prepared: Prepared, name: str) -> str:
    """The text of `lint3d explain NAME`: a rule, a family of rules or a verdict.

    Raises
    ------
    Lint3dError : there is no such rule, family or verdict
    """
    families = {rule.split("/")[0] for rule in prepared.requirements.rules}
    if name in families:
        return _family(prepared, name)
    if name.upper() in VERDICTS:
        return f"{name.upper()}\n\n{_wrapped(VERDICTS[name.upper()])}"
    return _explained_rule(prepared, name)


def _family(prepared: Prepared, family: str) -> str:
    """One line for each rule of a family."""
    rules = prepared.requirements.rules
    blocks = [f"{family}: a family of rules. `lint3d explain RULE` says more of each."]
    blocks += [
        f"{rule}\n" + textwrap.fill(rules[rule].title, WIDTH, initial_indent="  ")
        for rule in sorted(rules)
        if rule.split("/")[0] == family
    ]
    return "\n\n".join(blocks)


def _explained_rule(prepared: Prepared, rule_id: str) -> str:
    rules, general = prepared.requirements.rules, prepared.requirements.general
    if rule_id not in rules:
        raise Lint3dError(
            f"there is no rule '{rule_id}'{nearest(rule_id, rules)}. `lint3d list rules` shows all."
        )
    rule = rules[rule_id]
    entry = general.sheet.entries.get(rule_id)
    requirement = general.requirements.get(rule_id)
    blocks = [rule_id, _wrapped(rule.title)]
    blocks += [_wrapped(paragraph) for paragraph in rule.explanation.split("\n\n") if paragraph]
    if requirement:
        asks = f"Required ({general.sheet.title}): {requirement.text()}."
        blocks.append(_wrapped(f"{asks} Source: {requirement.source}. Level: {requirement.level}."))
    else:
        blocks.append(_wrapped(f"Off: {general.off.get(rule_id, 'not on the sheet')}."))
    if entry and entry.reason:
        blocks.append(_wrapped(f"Why: {entry.reason}"))
    if rule.remedy:
        blocks.append(_wrapped(f"Remedy: {rule.remedy}"))
    blocks.append(_wrapped(_provenance(prepared, rule_id)))
    if requirement:
        blocks.append(_wrapped(_other_limits(rule_id, requirement)))
    return "\n\n".join(blocks)


def _provenance(prepared: Prepared, rule_id: str) -> str:
    """Which plugin looks, and what it measures first."""
    registry, rule = prepared.registry, prepared.requirements.rules[rule_id]
    if ("rule", rule_id) not in registry.owner:
        return f"A rule of the sheet, without code, over the measure '{rule.needs[0].name}'."
    owner = registry.owner_of("rule", rule_id)
    version = registry.plugins[owner].version if owner in registry.plugins else None
    measures = [one.name for one in rule.needs if one.name in registry.measures]
    text = f"Looked at by the plugin '{owner}'" + (f" {version}" if version else "")
    return text + (f", from the measures {', '.join(measures)}." if measures else ".")


def _other_limits(rule_id: str, requirement: Requirement) -> str:
    """How another limit is tried, and how a place is accepted on purpose."""
    tried = f"Leave it out: --without {rule_id}."
    if requirement.kind in ("at least", "at most"):
        number = requirement.low if requirement.low is not None else requirement.high
        unit = "" if requirement.unit == "1" else requirement.unit
        tried = f"Another limit for one run: --limit {rule_id}={number:g}{unit}. {tried}"
    return f"{tried} For good: on a sheet of your own (lint3d start sheet NAME)."


def _wrapped(text: str) -> str:
    return textwrap.fill(" ".join(text.split()), WIDTH)
