"""What is one job, and what comes back from it?

A job is the files that are inspected together (one, unless `--together`). Everything that goes in
or comes out is plain data, so that it can be sent to a worker process. The same function runs a job
in a worker or in this process.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from lint3d.engine import Advance, Progress, Run
from lint3d.geometry.likeness import likeness
from lint3d.inspection import Artifact, Notification, Result
from lint3d.loading import LoadOptions, ReaderCrashed, load
from lint3d.model import Assembly, Fault, Source
from lint3d.plan import all_rules, check_plugins, make_plan
from lint3d.registry import Registry
from lint3d.requirements import Required

READING = "reading"


@dataclass(frozen=True)
class Job:
    """Files to inspect together."""

    paths: tuple[str, ...]
    uris: tuple[str, ...]
    required: Required
    options: LoadOptions
    keep: frozenset[str] = frozenset()
    lost: Mapping[str, str] = field(default_factory=dict)
    """Steps that ended a worker before, with what happened"""
    unreadable: Mapping[str, str] = field(default_factory=dict)
    """Files (uri) that ended a worker while they were read, with what happened"""


@dataclass
class JobOutcome:
    """What came out of a job."""

    results: list[Result] = field(default_factory=list)
    notifications: list[Notification] = field(default_factory=list)
    artifacts: list[Artifact] = field(default_factory=list)
    kept: dict[str, dict[str, Any]] = field(default_factory=dict)


def run_job(
    job: Job, registry: Registry, progress: Progress, advance: Advance = lambda share: None
) -> JobOutcome:
    """Load the files of a job and run every enabled rule over them."""
    outcome = JobOutcome()
    sources = []
    for path, uri in zip(job.paths, job.uris, strict=True):
        progress(uri, READING, "")
        sources.append(_load(job, path, uri, registry, outcome))
    for source in sources:
        outcome.artifacts += _artifacts(source)
        outcome.notifications += _file_notifications(source)
    rules = all_rules(registry, job.required.sheet)
    scopes = job.required.scopes or check_plugins(registry, rules)
    plan = make_plan(registry, rules, job.required.requirements, scopes, _fields(job.keep))
    sheet = job.required.in_force or job.required.sheet
    run = Run(plan, registry, sheet, progress, advance, dict(job.lost), job.keep)
    found = run.over(Assembly(sources))
    outcome.results += found.results
    outcome.notifications += found.notifications
    outcome.kept = found.kept
    return outcome


def _fields(keep: frozenset[str]) -> frozenset[str]:
    return frozenset(need.removeprefix("field:") for need in keep if need.startswith("field:"))


def _load(job: Job, path: str, uri: str, registry: Registry, outcome: JobOutcome) -> Source:
    source = Source(uri=uri, path=path)
    if uri in job.unreadable:
        source.faults.append(
            Fault(
                f"could not be read: {job.unreadable[uri]}.",
                "Export it again; if it stays so, report the file to whoever maintains the reader.",
                fatal=True,
            )
        )
        return source
    try:
        return load(path, uri, registry.readers, job.options)
    except ReaderCrashed as error:
        plugin = registry.owner_of("reader", error.reader)
        outcome.notifications.append(
            Notification(
                f"{error} (plugin '{plugin}'). Report this to whoever maintains the plugin.",
                "error",
                "plugin",
                uri,
                plugin=plugin,
            )
        )
        text, remedy = f"could not be read: {error}.", "Export it again in another format."
    except MemoryError:
        text = "needs more memory than the setting bounds.memory_mb allows."
        remedy = "Raise the setting, or reduce the number of facets."
    source.faults.append(Fault(text, remedy, fatal=True))
    return source


def _artifacts(source: Source) -> list[Artifact]:
    own = Artifact(
        uri=source.uri,
        digest=source.digest,
        length=source.length,
        format=source.format,
        unit=source.unit if source.format else None,
        unit_origin=source.unit_origin if source.format else None,
        bodies=tuple(body.name for part in source.parts for body in part.bodies),
        faces=sum(len(part.faces) for part in source.parts),
        shapes=tuple(
            likeness(body.vertices, body.faces) for part in source.parts for body in part.bodies
        ),
    )
    members = [
        Artifact(uri=path, digest=digest, length=length, parent=source.uri)
        for path, length, digest in source.members
    ]
    return [own, *members]


def _file_notifications(source: Source) -> list[Notification]:
    """A fault of the file makes the run incomplete, whether or not a rule reports it."""
    return [
        Notification(f"{source.uri} {fault.message} {fault.remedy}", "error", "file", source.uri)
        for fault in source.faults
        if not fault.harmless
    ]
