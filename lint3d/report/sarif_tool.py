"""Which rules took part, from which plugins, and how were they set?

lint3d itself has no rules: each plugin, and each sheet with rules of its own, is an extension of
the tool, and every rule is a descriptor of the extension that brought it.
"""

from __future__ import annotations

import re
from typing import Any

from lint3d.inspection import Inspection, Override, PluginFacts, RuleFacts
from lint3d.report.plain import plain, writable
from lint3d.report.wording import override_key, sentence
from lint3d.requirement import Requirement

#: What a notification can be about, by `Notification.id`.
NOTIFICATIONS: dict[str, str] = {
    "file": "A file could not be inspected as it is.",
    "rule": "A rule stopped with an error; what it would have found is not known.",
    "measure": "A measure stopped with an error; the rules over it are open.",
    "plugin": "A plugin could not be loaded or used.",
    "worker": "A worker process ended or was stopped before it was done.",
    "writer": "A report could not be written.",
    "concession": "A concession is not needed any more, or could not be used.",
    "settings": "A setting was not used as it stands.",
    "run": "Something about the run as a whole.",
}
_SEMANTIC = re.compile(r"\d+\.\d+\.\d+")
_MARKDOWN = re.compile(r"([\\`*_\[\]<>#|])")


class RuleTable:
    """The tool with its extensions and rules, and references to them."""

    def __init__(self, inspection: Inspection) -> None:
        self._version = inspection.version
        self.facts: dict[str, RuleFacts] = {rule.id: rule for rule in inspection.rules}
        self._plugins = _plugins(inspection)
        self._rules: list[list[RuleFacts]] = [[] for _ in self._plugins]
        owner = {plugin.name: number for number, plugin in reversed(list(enumerate(self._plugins)))}
        self._reference: dict[str, dict[str, Any]] = {}
        for _, rule in sorted(self.facts.items()):
            component = owner[rule.plugin]
            self._reference[rule.id] = {
                "index": len(self._rules[component]),
                "toolComponent": {"index": component},
            }
            self._rules[component].append(rule)
        known = {note.id for note in inspection.notifications} - NOTIFICATIONS.keys()
        self._notifications = [*NOTIFICATIONS, *sorted(known)]

    def tool(self) -> dict[str, Any]:
        """The `tool` object."""
        driver: dict[str, Any] = {"name": "lint3d"}
        if self._version:
            driver["version"] = self._version
        if _SEMANTIC.fullmatch(self._version):
            driver["semanticVersion"] = self._version
        about = "Finds what will not build in a 3D model before it is printed, and says where."
        driver["shortDescription"] = {"text": about}
        driver["notifications"] = [
            {"id": key, "shortDescription": {"text": NOTIFICATIONS.get(key, sentence(key))}}
            for key in self._notifications
        ]
        driver["rules"] = []
        extensions = [
            _extension(plugin, rules)
            for plugin, rules in zip(self._plugins, self._rules, strict=True)
        ]
        return {"driver": driver, "extensions": extensions}

    def reference(self, rule: str) -> dict[str, Any] | None:
        """Index of a rule within its extension; None for a rule that nobody declared."""
        return self._reference.get(rule)

    def identified(self, rule: str) -> dict[str, Any]:
        """Reference to a rule by its id and, where it is declared, by its index."""
        return {"id": rule, **(self.reference(rule) or {})}

    def notification(self, key: str) -> dict[str, Any]:
        """Reference to the descriptor of a notification."""
        return {"id": key, "index": self._notifications.index(key)}

    def unit(self, rule: str) -> str:
        """UCUM code of what a rule measures."""
        return self.facts[rule].unit if rule in self.facts else "1"


def parameters(requirement: Requirement) -> dict[str, Any]:
    """A requirement as a bag of parameters."""
    return {
        "kind": requirement.kind,
        "limit": limit(requirement),
        "unit": requirement.unit,
        "uncertainty": plain(requirement.uncertainty),
        "source": writable(requirement.source),
    }


def limit(requirement: Requirement) -> Any:
    """A number, [low, high], 0 where nothing may be found, null where nothing is asked."""
    return None if requirement.kind == "inform" else plain(requirement.limit)


def configuration(requirement: Requirement | None) -> dict[str, Any]:
    """How a rule is set: off without a requirement."""
    if requirement is None:
        return {"enabled": False}
    level = "none" if requirement.kind == "inform" else requirement.level
    return {"enabled": True, "level": level, "parameters": parameters(requirement)}


def overrides(inspection: Inspection, rules: RuleTable) -> list[dict[str, Any]]:
    """Every requirement that differs from the sheet, and every rule that was turned off.

    An override for some files only names them under `properties`: the format knows none but for
    the whole run.
    """
    found = [_override(item, rules) for item in sorted(inspection.overrides, key=override_key)]
    told = {item.rule for item in inspection.overrides if item.requirement is None}
    for _, rule in sorted(rules.facts.items()):
        if rule.off and rule.default is not None and rule.id not in told:
            found.append(_override(Override(rule.id, None, rule.off), rules))
    return [item for number, item in enumerate(found) if item not in found[:number]]


def _override(item: Override, rules: RuleTable) -> dict[str, Any]:
    return {
        "configuration": configuration(item.requirement),
        "descriptor": rules.identified(item.rule),
        "properties": {"origin": plain(item.origin), "file": plain(item.uri)},
    }


def _plugins(inspection: Inspection) -> list[PluginFacts]:
    """The plugins by name, then the sheets; whoever brings a rule is among them."""
    told = list(inspection.plugins)
    names = {plugin.name for plugin in told}
    for name in sorted({rule.plugin for rule in inspection.rules} - names):
        is_sheet = name in inspection.sheet.chain or name == inspection.sheet.name
        told.append(PluginFacts(name, None, "", "sheet" if is_sheet else "plugin"))
    return sorted(told, key=lambda plugin: (plugin.kind, plugin.name))


def _extension(plugin: PluginFacts, rules: list[RuleFacts]) -> dict[str, Any]:
    found: dict[str, Any] = {"name": writable(plugin.name)}
    if plugin.version:
        found["version"] = writable(plugin.version)
    if plugin.summary:
        found["shortDescription"] = {"text": sentence(writable(plugin.summary))}
    found["rules"] = [_descriptor(rule) for rule in rules]
    found["properties"] = {"kind": plugin.kind}
    return found


def _descriptor(rule: RuleFacts) -> dict[str, Any]:
    title = sentence(writable(rule.title or rule.id))
    explanation = sentence(writable(rule.explanation)) or title
    found: dict[str, Any] = {
        "id": rule.id,
        "name": _pascal(rule.id),
        "shortDescription": {"text": title},
        "fullDescription": {"text": explanation},
        "help": _help(title, sentence(writable(rule.explanation)), sentence(writable(rule.remedy))),
        "defaultConfiguration": configuration(rule.default),
        "properties": {"unit": rule.unit, "off": plain(rule.off)},
    }
    return found


def _help(title: str, explanation: str, remedy: str) -> dict[str, str]:
    """What the rule is about and what to do, as text and as markdown."""
    text = [title, explanation, f"Remedy: {remedy}" if remedy else ""]
    markdown = [f"**{_escaped(title)}**", _escaped(explanation)]
    markdown.append(f"*Remedy:* {_escaped(remedy)}" if remedy else "")
    return {
        "text": "\n".join(line for line in text if line),
        "markdown": "\n\n".join(line for line in markdown if line),
    }


def _escaped(text: str) -> str:
    return _MARKDOWN.sub(r"\\\1", text)


def _pascal(rule: str) -> str:
    """ThinWall for walls/thin-wall, as the format wants names to look."""
    return "".join(word[:1].upper() + word[1:] for word in rule.rpartition("/")[2].split("-"))
