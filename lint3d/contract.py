"""Does a plugin keep what lint3d asks of every rule?

`lint3d check-plugin` prints the answer; `contract_breaches` gives it to a test. A plugin's rules
are run over small parts and over broken ones in a process of their own with bounds, so that a rule
that hangs or crashes is named and ends nothing else. What is asked:

- names: rules are family/name, nothing is offered twice, a sheet has an entry with unit and source
- words: every rule says in a sentence what it looks for and how to mend it; measures ask a question
- the same part gives the same report, with any number of workers and in any order of its facets
- the same verdict and, within the uncertainties, the same value in any frame
- broken parts crash nothing
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lint3d.errors import Lint3dError

if TYPE_CHECKING:
    from lint3d.inspection import Inspection, Result
    from lint3d.registry import Registry

_FRAMES = 3
#: Begins the names of our own sound parts: a plugin's samples may be called like one of them.
_OURS = "sample-"


def contract_breaches(
    target: str,
    *,
    sheet: str | Path | None = None,
    samples: Iterable[str | Path] = (),
    frame_dependent: Sequence[str] = (),
) -> list[str]:
    """What of the contract a plugin breaks, as plain sentences; empty means that it keeps it.

    Parameters
    ----------
    target : a module's name or the path of a `.py` file, as for --plugin; or an installed plugin
    sheet : a sheet with entries for its rules; None = the first sheet that has them all
    samples : parts of your own, which the rules are run over beside the built-in ones
    frame_dependent : rules whose value is meant to depend on how the part lies (height, say)

    Raises
    ------
    Lint3dError : there is no such plugin, sheet or sample
    """
    plugin, registry, given = _loaded(target)
    rules = sorted(r for r in registry.rules if registry.owner_of("rule", r) == plugin)
    found = _wording(plugin, registry, rules)
    if not rules:
        return found
    chosen, missing = _sheet_for(rules, registry, sheet)
    found += missing
    if chosen is None:
        return found
    case = _Case(given, chosen, tuple(rules), tuple(frame_dependent))
    with case.pool, tempfile.TemporaryDirectory() as folder:
        found += _over_samples(case, Path(folder), [Path(one) for one in samples])
        found += _over_broken(case, Path(folder))
    return sorted(set(found))


class _Case:
    """A plugin with the sheet and rules that it is tried with, on workers that all runs share."""

    def __init__(
        self, given: list[str], sheet: str, rules: tuple[str, ...], free: tuple[str, ...]
    ) -> None:
        from lint3d.api import pool_of, prepare, settings
        from lint3d.config import Config

        chosen = settings(Config(), process=sheet, plugins=given, only=rules)
        self.prepared = prepare(chosen)
        self.pool = pool_of(self.prepared, 1)
        self.frame_dependent = free

    def run(self, files: Sequence[Path], workers: int) -> Inspection:
        from lint3d.api import run

        self.pool.count = workers
        return run(self.prepared, files, frozenset(), self.pool)


def _loaded(target: str) -> tuple[str, Registry, list[str]]:
    """The plugin's name, the registry that holds it, and how it must be given to be loaded."""
    from lint3d.registry import PluginSettings, find_plugins, load_registry

    installed = {one.name: one for one in find_plugins(PluginSettings())}
    if target in installed:
        plugin, given = target, []
    else:
        found = find_plugins(PluginSettings((target,)))
        plugin = next(one.name for one in found if one.target == target)
        given = [target]
    registry = load_registry(PluginSettings(tuple(given)))
    for problem in registry.problems:
        if problem.plugin == plugin:
            raise Lint3dError(problem.message)
    return plugin, registry, given


def _wording(plugin: str, registry: Registry, rules: list[str]) -> list[str]:
    """What the plugin, its rules and its measures fail to say."""
    found = []
    if not registry.plugins[plugin].summary:
        found.append(f"The plugin '{plugin}' has no docstring: say in a line what it is about.")
    for one in rules:
        rule = registry.rules[one]
        if not rule.title.strip():
            found.append(f"{one} has no docstring: its first line becomes the rule's title.")
        if not rule.remedy.strip():
            found.append(f"{one} gives no remedy: write 'Remedy: …' into its docstring.")
    for name, measure in sorted(registry.measures.items()):
        if registry.owner_of("measure", name) == plugin and not measure.title.strip():
            found.append(f"The measure '{name}' has no docstring: say what it measures.")
    return found


def _sheet_for(
    rules: list[str], registry: Registry, given: str | Path | None
) -> tuple[str | None, list[str]]:
    """A sheet with an entry for every rule; where there is none, what is missing.

    That each entry has a unit and a source is seen to when a sheet is read.
    """
    from lint3d.sheet import read_sheet

    names = [str(given)] if given is not None else sorted(registry.sheets)
    lacking = {}
    for name in names:
        entries = read_sheet(name, registry.sheets).entries
        lacking[name] = [one for one in rules if one not in entries]
        if not lacking[name]:
            return name, []
    nearest = min(lacking, key=lambda name: len(lacking[name]))
    where = f"'{nearest}'" if given is not None else "a sheet"
    texts = [f"{one} is on no sheet: give {where} an entry for it." for one in lacking[nearest]]
    return None, texts


def _over_samples(case: _Case, folder: Path, own: Sequence[Path]) -> list[str]:
    from lint3d.samples import sound, write_stl

    files = [write_stl(folder / f"{_OURS}{name}.stl", facets) for name, facets in sound().items()]
    files += own
    alone, many = case.run(files, 1), case.run(files, 2)
    found = _crashes(alone, "a sound part")
    if _report(many) != _report(alone):
        found.append(
            "Two runs over the same files, with one worker and with two, gave two reports: "
            "something is left to chance, or outlives a file."
        )
    return found + _frames(case, folder, alone)


def _frames(case: _Case, folder: Path, alone: Inspection) -> list[str]:
    """Values that change when a part is moved and its facets are shuffled."""
    from lint3d.samples import moved, sound, write_stl

    files = [
        write_stl(folder / f"{_OURS}{name}.frame-{frame}.stl", moved(facets, seed=frame))
        for name, facets in sound().items()
        for frame in range(1, _FRAMES + 1)
    ]
    turned = _by_subject(case.run(files, 1))
    found = []
    for (rule, part), results in _by_subject(alone).items():
        if rule in case.frame_dependent or not part.startswith(_OURS):
            continue
        others = [turned.get((rule, f"{part}.frame-{n}"), []) for n in range(1, _FRAMES + 1)]
        if not all(_agree(results, other) for other in others):
            found.append(
                f"{rule} says something else of a {part.removeprefix(_OURS)} when it is turned in "
                "space. If that is meant, name the rule as depending on the frame; else the "
                "uncertainty is too small, or an axis is favoured."
            )
    return found


def _by_subject(inspection: Inspection) -> dict[tuple[str, str], list[Result]]:
    """Results by rule and the file's stem."""
    found: dict[tuple[str, str], list[Result]] = {}
    for result in inspection.results:
        found.setdefault((result.rule, Path(result.uri).stem), []).append(result)
    return found


def _agree(one: list[Result], other: list[Result]) -> bool:
    """The same verdicts, and for each value another one that may be the same."""
    if sorted(r.kind for r in one) != sorted(r.kind for r in other):
        return False
    left = list(other)
    for result in one:
        fitting = [r for r in left if r.kind == result.kind and _overlap(result, r)]
        if not fitting:
            return False
        left.remove(fitting[0])
    return True


def _overlap(one: Result, other: Result) -> bool:
    if one.measured is None or other.measured is None:
        return one.measured is other.measured
    # The parts are moved before they are stored in single precision: seven digits remain.
    room = 1e-5 * max(abs(one.measured), abs(other.measured), 1.0)
    low = max(_or(one.lower, one.measured), _or(other.lower, other.measured))
    high = min(_or(one.upper, float("inf")), _or(other.upper, float("inf")))
    return low <= high + room


def _or(value: float | None, instead: float) -> float:
    return instead if value is None else value


def _over_broken(case: _Case, folder: Path) -> list[str]:
    from lint3d.samples import broken, write_stl

    files = [write_stl(folder / f"{name}.stl", facets) for name, facets in broken().items()]
    return _crashes(case.run(files, 1), "a broken part")


def _crashes(inspection: Inspection, on: str) -> list[str]:
    """Every notification about a rule, measure, plugin or worker that was lost."""
    kinds = ("rule", "measure", "plugin", "worker")
    return [
        f"On {on}{f' ({Path(note.uri).stem})' if note.uri else ''}: {note.message}"
        for note in inspection.notifications
        if note.id in kinds and note.level == "error"
    ]


def _report(inspection: Inspection) -> Any:
    from lint3d.report.sarif import SarifWriter

    return SarifWriter().write(inspection)
