"""How is a whole run done, from Python or from the command line?"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import lint3d
from lint3d.baseline import compare_with
from lint3d.concession import FILE_NAME as CONCESSIONS
from lint3d.concession import Concessions, concede, read_concessions
from lint3d.config import Config, find_config, read_config
from lint3d.engine import Progress
from lint3d.errors import ConfigurationError
from lint3d.files import expand, uris
from lint3d.inspection import (
    Inspection,
    Notification,
    Override,
    PluginFacts,
    Result,
    RuleFacts,
    SheetFacts,
)
from lint3d.jobs import Job, JobOutcome, run_job
from lint3d.loading import LoadOptions
from lint3d.plan import SheetRule
from lint3d.pool import Pool
from lint3d.registry import PluginSettings, Registry, load_registry, reviewers
from lint3d.requirements import Required, Requirements
from lint3d.snapshot import Snapshot, read_report
from lint3d.units import length_factor
from lint3d.worker import Setup

Files = Iterable[str | os.PathLike[str]] | str | os.PathLike[str]


def _quiet(*_: Any) -> None:
    """No progress is shown."""


@dataclass
class Prepared:
    """Settings, plugins and sheets of a run, checked before any file is opened."""

    config: Config
    plugins: PluginSettings
    registry: Registry
    requirements: Requirements
    today: date | None = None
    baseline: Snapshot | None = None
    """An earlier report to compare with"""
    concessions: Concessions | None = None
    """Accepted deviations"""
    progress: Progress = _quiet
    expect: Callable[[list[int]], None] = _quiet
    """Told the size of each job in bytes, before the first begins"""
    advance: Callable[[int, float], None] = _quiet
    """Told the share that is done of a job, by its number"""


def prepare(config: Config, today: date | None = None) -> Prepared:
    """Load plugins and sheets.

    Raises
    ------
    Lint3dError : wrong use, configuration or plugin
    """
    if config.unit is not None:
        length_factor(config.unit)
    if config.workers is not None and config.workers < 0:
        raise ConfigurationError("workers must be 0 (in this process) or more.")
    plugins = PluginSettings(tuple(config.plugins), frozenset(config.disable))
    registry = load_registry(plugins)
    return Prepared(config, plugins, registry, Requirements(registry, config), today)


def remember(
    prepared: Prepared,
    baseline: str | os.PathLike[str] | None = None,
    concessions: str | os.PathLike[str] | None = None,
) -> None:
    """Read the earlier report and the accepted deviations that a run takes into account.

    Parameters
    ----------
    baseline : a SARIF report that lint3d wrote
    concessions : None = `concessions.toml` beside `lint3d.toml`, if there is one

    Raises
    ------
    ConfigurationError : one of them cannot be read, or is not what it should be
    """
    if baseline is not None:
        prepared.baseline = read_report(baseline)
    folder = prepared.config.folder
    if concessions is not None:
        prepared.concessions = read_concessions(Path(concessions))
    elif folder is not None and (folder / CONCESSIONS).is_file():
        prepared.concessions = read_concessions(folder / CONCESSIONS)


def inspect(
    files: Files = (),
    *,
    sheet: str | os.PathLike[str] | None = None,
    limits: Sequence[str] = (),
    only: Sequence[str] = (),
    without: Sequence[str] = (),
    plugins: Sequence[str] = (),
    together: bool | None = None,
    unit: str | None = None,
    workers: int | None = None,
    config: str | os.PathLike[str] | Config | None = None,
    today: date | None = None,
    baseline: str | os.PathLike[str] | None = None,
    concessions: str | os.PathLike[str] | None = None,
    keep: Iterable[str] = (),
    progress: Progress | None = None,
) -> Inspection:
    """Inspect files, as `lint3d inspect` does.

    Parameters
    ----------
    files : files and folders; none = the current folder
    sheet : name of a registered process sheet, or path of one
    limits : "RULE=NUMBER[UNIT]", as for --limit
    only, without : rules or families
    plugins : module names or paths of `.py` files
    together : all files stand in one common frame
    unit : of formats that have none
    workers : processes; 0 = in this process, with no bounds on time and memory
    config : a `lint3d.toml`, or its content; None = look from the current folder upward
    today : the date by which accepted deviations are judged; None = the date of today
    baseline : an earlier SARIF report to compare with
    concessions : a file of accepted deviations; None = `concessions.toml` beside `lint3d.toml`
    keep : what writers need: "mesh" and "field:NAME" in `Inspection.kept`, "places" in results
    progress : called with uri, step and body before each step

    Raises
    ------
    Lint3dError : wrong use, configuration or plugin; never for what is wrong with a file
    """
    chosen = settings(
        config,
        process=None if sheet is None else os.fspath(sheet),
        limits=limits,
        only=only,
        without=without,
        plugins=plugins,
        together=together,
        unit=unit,
        workers=workers,
    )
    prepared = prepare(chosen, today)
    remember(prepared, baseline, concessions)
    prepared.progress = progress or _quiet
    listed = [files] if isinstance(files, (str, os.PathLike)) else files
    return run(prepared, listed, frozenset(keep))


def settings(given: str | os.PathLike[str] | Config | None = None, **options: Any) -> Config:
    """The configuration with options on top.

    Parameters
    ----------
    given : a `lint3d.toml`, or its content; None = look from the current folder upward
    options : process, limits, only, without, plugins, together, unit, workers; None or empty means
        not given. Limits and plugins are added to the configuration's own, the others replace them.
    """
    config = given if isinstance(given, Config) else _found(given)
    given_options = {k: v for k, v in options.items() if v is not None and v != () and v != []}
    limits = tuple(given_options.pop("limits", ()))
    plugins = tuple(given_options.pop("plugins", ()))
    if "process" in given_options:
        config = replace(config, base=Path())
    changes: dict[str, Any] = {
        k: tuple(v) if isinstance(v, list) else v for k, v in given_options.items()
    }
    return replace(
        config,
        **changes,
        given_limits=(*config.given_limits, *limits),
        plugins=(*config.plugins, *(name for name in plugins if name not in config.plugins)),
    )


def _found(given: str | os.PathLike[str] | None) -> Config:
    path = Path(given) if given is not None else find_config(Path.cwd())
    return read_config(path) if path else Config()


def run(
    prepared: Prepared,
    files: Iterable[str | os.PathLike[str]],
    keep: frozenset[str],
    pool: Pool | None = None,
) -> Inspection:
    """Inspect files in a prepared run.

    Parameters
    ----------
    pool : workers that several runs share; None = as many as the settings say, ended with the run
    """
    suffixes = sorted({s for reader in prepared.registry.readers.values() for s in reader.suffixes})
    paths = expand(files, suffixes)
    jobs = _jobs(prepared, paths, keep)
    if not any(job.required.requirements for job in jobs):
        raise ConfigurationError(
            "no rule is on, so nothing would be inspected: the sheet, --only and --without leave "
            "none. `lint3d list rules` shows why each is off."
        )
    prepared.expect([sum(_bytes(path) for path in job.paths) for job in jobs])
    outcomes = _outcomes(prepared, jobs, pool)
    inspection = _collected(prepared, jobs, outcomes)
    _look_back(prepared, inspection, jobs)
    _review(prepared.registry, inspection)
    inspection.notifications.sort(key=Notification.sort_key)
    return inspection


def _bytes(path: str) -> int:
    try:
        return os.path.getsize(path)
    except OSError:
        return 0


def _jobs(prepared: Prepared, paths: Sequence[Path], keep: frozenset[str]) -> list[Job]:
    config = prepared.config
    options = LoadOptions(config.unit, config.weld_mm, config.read)
    named = sorted(zip(uris(paths), paths, strict=True))
    if config.together:
        names = tuple(uri for uri, _ in named)
        files = tuple(str(path) for _, path in named)
        return [Job(files, names, prepared.requirements.general, options, keep)]
    return [
        Job((str(path),), (uri,), prepared.requirements.for_file(path), options, keep)
        for uri, path in named
    ]


def _outcomes(prepared: Prepared, jobs: list[Job], given: Pool | None) -> list[JobOutcome]:
    config = prepared.config
    if given is not None:
        return given.run(jobs, prepared.progress, prepared.advance)
    if config.workers == 0:
        return [
            run_job(job, prepared.registry, prepared.progress, partial(prepared.advance, index))
            for index, job in enumerate(jobs)
        ]
    with pool_of(prepared, min(config.workers or os.cpu_count() or 1, len(jobs))) as pool:
        return pool.run(jobs, prepared.progress, prepared.advance)


def pool_of(prepared: Prepared, count: int) -> Pool:
    """Workers with the plugins and bounds of a prepared run."""
    bounds = prepared.config.bounds
    return Pool(count, Setup(prepared.plugins, bounds.memory_mb), bounds.seconds)


def _collected(prepared: Prepared, jobs: list[Job], outcomes: list[JobOutcome]) -> Inspection:
    general = prepared.requirements.general
    overrides = list(general.overrides)
    for job in jobs:
        overrides += _file_overrides(general, job)
    return Inspection(
        results=sorted((r for one in outcomes for r in one.results), key=Result.sort_key),
        artifacts=[artifact for one in outcomes for artifact in one.artifacts],
        notifications=_once(
            [*prepared.registry.problems, *(n for one in outcomes for n in one.notifications)]
        ),
        rules=_rule_facts(prepared, jobs),
        plugins=_plugin_facts(prepared, jobs),
        sheet=_sheet_facts(prepared, general),
        overrides=overrides,
        version=lint3d.__version__,
        settings=_settings(prepared),
        kept={key: value for one in outcomes for key, value in one.kept.items()},
    )


def _look_back(prepared: Prepared, inspection: Inspection, jobs: list[Job]) -> None:
    """Apply concessions, then compare with the earlier report."""
    if prepared.concessions is not None:
        paths = {u: p for job in jobs for u, p in zip(job.uris, job.paths, strict=True)}
        concede(inspection, prepared.concessions, prepared.today or date.today(), paths)
    if prepared.baseline is not None:
        compare_with(inspection, prepared.baseline)


def _once(notifications: list[Notification]) -> list[Notification]:
    """Each notification a single time, in order."""
    return list(dict.fromkeys(notifications))


def _file_overrides(general: Required, job: Job) -> list[Override]:
    """Where what is required of one file differs from what holds in general."""
    if job.required is general:
        return []
    found = []
    ids = general.requirements.keys() | job.required.requirements.keys()
    for rule in sorted(ids):
        own = job.required.requirements.get(rule)
        if own != general.requirements.get(rule):
            found.append(Override(rule, own, "[[for]]", job.uris[0]))
    return found


def _rule_facts(prepared: Prepared, jobs: list[Job]) -> list[RuleFacts]:
    general = prepared.requirements.general
    facts = []
    for rule_id, rule in sorted(prepared.requirements.rules.items()):
        sheet = next(
            (s for s in [general.sheet, *(j.required.sheet for j in jobs)] if rule_id in s.entries),
            None,
        )
        if isinstance(rule, SheetRule):
            if sheet is None:
                continue
            plugin = sheet.name
        else:
            plugin = prepared.registry.owner_of("rule", rule_id)
        reason = sheet.entries[rule_id].reason if sheet else ""
        facts.append(
            RuleFacts(
                id=rule_id,
                title=rule.title,
                explanation="\n\n".join(text for text in (rule.explanation, reason) if text),
                remedy=rule.remedy,
                unit=rule.unit,
                plugin=plugin,
                default=sheet.requirement(rule_id) if sheet else None,
                off=_off(rule_id, general, jobs),
            )
        )
    return facts


def _off(rule: str, general: Required, jobs: list[Job]) -> str | None:
    """Why a rule ran on no file at all."""
    if any(rule in job.required.requirements for job in jobs):
        return None
    if not jobs and rule in general.requirements:
        return None
    return general.off.get(rule, f"the sheet {general.sheet.name} has no entry for it")


def _plugin_facts(prepared: Prepared, jobs: list[Job]) -> list[PluginFacts]:
    facts = list(prepared.registry.plugins.values())
    used = {job.required.sheet.name: job.required.sheet for job in jobs}
    used[prepared.requirements.general.sheet.name] = prepared.requirements.general.sheet
    for name, sheet in sorted(used.items()):
        if any(entry.measure for entry in sheet.entries.values()):
            facts.append(PluginFacts(name, None, sheet.title, "sheet"))
    return facts


def _sheet_facts(prepared: Prepared, general: Required) -> SheetFacts:
    sheet = general.sheet
    return SheetFacts(
        sheet.name, sheet.title, sheet.chain, sheet.digest, assumed=prepared.config.process is None
    )


def _settings(prepared: Prepared) -> dict[str, Any]:
    """Settings that can change a verdict; how many workers ran is none of them."""
    config = prepared.config
    found: dict[str, Any] = {"weld_mm": config.weld_mm, "together": config.together}
    if config.unit:
        found["unit"] = config.unit
    if prepared.today:
        found["today"] = prepared.today.isoformat()
    return found


def _review(registry: Registry, inspection: Inspection) -> None:
    """Let plugins add remarks. They see copies, so that no result can be changed or removed."""
    for plugin, function in reviewers(registry):
        copies = [
            replace(result, properties=dict(result.properties)) for result in inspection.results
        ]
        shown = replace(
            inspection, results=list(copies), notifications=list(inspection.notifications)
        )
        for result, copy in zip(inspection.results, copies, strict=True):
            try:
                remarks = function(result=copy, inspection=shown) or ()
                texts = [remarks] if isinstance(remarks, str) else list(remarks)
            except (Exception, SystemExit) as error:
                inspection.notifications.append(
                    Notification(
                        f"The hook lint3d_review of the plugin '{plugin}' crashed on "
                        f"{result.rule}: {type(error).__name__}: {error}. Results are unchanged.",
                        "error",
                        "plugin",
                        result.uri,
                        plugin=plugin,
                    )
                )
                break
            result.remarks += tuple(str(text) for text in texts)
