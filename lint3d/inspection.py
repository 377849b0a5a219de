"""What came out? The one model that every report is written from.

Plain data: it can be pickled, compared and sorted; arrays, kept for pictures, are not compared.
Results are sorted by file, body, rule and place; nothing in it depends on time, machine, number of
workers or order of files.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, Literal

from lint3d.model import Region
from lint3d.requirement import Requirement, Verdict

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.likeness import Likeness

#: `baselineState` of SARIF 2.1.0, 3.27.24.
BaselineState = Literal["new", "unchanged", "updated", "absent"]


@dataclass(frozen=True)
class Artifact:
    """An inspected file, or a member of an archive."""

    uri: str
    """Relative, percent-encoded; for a member its path in the archive."""
    digest: str | None = None
    """SHA-256, hex"""
    length: int | None = None
    format: str | None = None
    """None: could not be read"""
    unit: str | None = None
    unit_origin: str | None = None
    """found, given or assumed"""
    parent: str | None = None
    """For a member: the uri of its archive."""
    bodies: tuple[str, ...] = ()
    faces: int = 0
    shapes: tuple[Likeness | None, ...] = field(default=(), compare=False)
    """By what each of `bodies` is known again after it was moved"""


Point = tuple[float, float, float]


@dataclass(frozen=True)
class PathStep:
    """One step of a path, from the place to the outside."""

    position: tuple[float, float, float]
    value: float | None
    label: str


@dataclass(frozen=True)
class Conceded:
    """A concession (ISO 9000) that covers a result."""

    reason: str
    by: str
    until: date
    """The last day on which it holds"""
    up_to: float
    """The value that it covers, in the rule's unit"""


@dataclass(frozen=True)
class Earlier:
    """The same place in an earlier report."""

    kind: Verdict
    measured: float | None = None
    lower: float | None = None
    upper: float | None = None


@dataclass
class Result:
    """One line of the inspection table."""

    rule: str
    kind: Verdict
    message: str
    """Plain text: what was found, or why it is open."""
    uri: str
    body: str | None = None
    """Name of the body; None for what concerns the file"""
    part: str | None = None
    requirement: Requirement | None = None
    measured: float | None = None
    lower: float | None = None
    upper: float | None = None
    """None with a `lower`: the measured value is a lower bound"""
    faceting: float | None = None
    position: tuple[float, float, float] | None = None
    other: str | None = None
    other_uri: str | None = None
    faces: int | None = None
    """How many faces the place covers"""
    extent: float | None = None
    region: Region | None = None
    remedy: str = ""
    path: tuple[PathStep, ...] = ()
    related: tuple[PathStep, ...] = ()
    """More points that it stands for"""
    properties: dict[str, Any] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    ends: tuple[Point, Point] | None = None
    """The two points that the measured value lies between, mm"""
    triangles: NDArray[Any] | None = field(default=None, repr=False, compare=False)
    """(k, 3, 3) mm, corners of the faces of the place, the worst first; only if a writer needs
    "places", and no more than `judging.MOST_TRIANGLES`"""
    other_triangles: NDArray[Any] | None = field(default=None, repr=False, compare=False)
    """(k, 3, 3) mm, the same on the other body of a pair"""
    centre: Point | None = None
    """Middle of the faces, by area: stays where it is when the worst of them changes"""
    conceded: Conceded | None = None
    """Why a failure is accepted; None if it is not"""
    lapsed: str | None = None
    """Why the concession that there is for this place does not cover it"""
    state: BaselineState | None = None
    """Against an earlier report; None if there is none"""
    earlier: Earlier | None = None
    """What the earlier report says of this place"""
    is_worse: bool = False
    """Worse than in the earlier report, whatever the uncertainties; a new failure is worse"""
    known_as: dict[str, str] = field(default_factory=dict)
    """The keys that an earlier report gave it, for a result that was read from one"""

    @property
    def uncertainty(self) -> float | None:
        """The larger of measured − lower and upper − measured; None if nothing was measured."""
        if self.measured is None or self.lower is None:
            return None
        below = self.measured - self.lower
        return below if self.upper is None else max(below, self.upper - self.measured)

    @property
    def level(self) -> str:
        """SARIF level: other than "none" only for a failure."""
        if self.kind != "fail":
            return "none"
        return self.requirement.level if self.requirement else "error"

    def sort_key(self) -> tuple[Any, ...]:
        """By file, body, rule and place."""
        place = self.position or (0.0, 0.0, 0.0)
        return (
            self.uri,
            self.body or "",
            self.rule,
            tuple(round(x, 6) for x in place),
            self.kind,
            self.measured is None,
            self.measured or 0.0,
            self.other_uri or "",
            self.other or "",
            self.message,
        )


@dataclass(frozen=True)
class Notification:
    """Something about the run itself: a file that was lost, a rule that crashed, a plugin."""

    message: str
    level: Literal["error", "warning", "note"] = "error"
    id: str = "run"
    """What kind: file, rule, measure, plugin, worker, writer, settings"""
    uri: str | None = None
    rule: str | None = None
    plugin: str | None = None

    def sort_key(self) -> tuple[str, ...]:
        return (self.uri or "", self.id, self.rule or "", self.plugin or "", self.message)


@dataclass(frozen=True)
class RuleFacts:
    """What reports say of a rule."""

    id: str
    title: str
    explanation: str
    remedy: str
    unit: str
    plugin: str
    """Name of the plugin that brings it; a rule without code belongs to its sheet."""
    default: Requirement | None
    """What the sheet asks, before any override; None if the sheet has no entry"""
    off: str | None = None
    """Why the rule did not run at all; None if it ran"""


@dataclass(frozen=True)
class PluginFacts:
    """What reports say of a plugin."""

    name: str
    version: str | None
    summary: str
    """First line of the module's docstring"""
    kind: Literal["plugin", "sheet"] = "plugin"


@dataclass(frozen=True)
class SheetFacts:
    """What reports say of the process sheet."""

    name: str
    title: str
    chain: tuple[str, ...]
    """The sheet and those that it extends"""
    digest: str
    """SHA-256 over the merged sheet, so that a changed limit shows"""
    assumed: bool
    """True if nobody chose it: the default"""


@dataclass(frozen=True)
class Override:
    """A requirement that differs from the sheet: from `--limit`, or from `[[for]]`."""

    rule: str
    requirement: Requirement | None
    """None: turned off"""
    origin: str
    """"--limit", or the pattern of the `[[for]]` entry"""
    uri: str | None = None
    """The file it holds for; None = all"""


@dataclass
class Inspection:
    """Everything that one run found."""

    results: list[Result]
    artifacts: list[Artifact]
    notifications: list[Notification]
    rules: list[RuleFacts]
    plugins: list[PluginFacts]
    sheet: SheetFacts
    overrides: list[Override] = field(default_factory=list)
    version: str = ""
    settings: dict[str, Any] = field(default_factory=dict)
    """Settings that change verdicts: weld tolerance, read limits, together"""
    kept: dict[str, dict[str, Any]] = field(default_factory=dict)
    """What writers asked for: {body: {"mesh": …, "field:spans": …}}; not compared"""
    absent: list[Result] = field(default_factory=list)
    """What an earlier report has and this one has not"""
    concessions: str | None = None
    """The file of concessions that was used"""
    baseline: str | None = None
    """The earlier report that this one was compared with"""
    picture_folder: str | None = None
    """Where pictures were written, as seen from the report that is written; not compared"""
    picture_names: frozenset[str] = frozenset()
    """File names of the pictures; not compared"""
    drawn: dict[str, bytes] = field(default_factory=dict)
    """Pictures (PNG, by name) that were drawn and that a page shows, too; not compared"""

    @property
    def complete(self) -> bool:
        """False if a file was not read as it is, or a rule or worker was lost."""
        return not any(note.level == "error" for note in self.notifications)

    def counts(self) -> dict[str, int]:
        """How many results of each kind."""
        found: dict[str, int] = {}
        for result in self.results:
            found[result.kind] = found.get(result.kind, 0) + 1
        return found

    def exit_code(self, fail_on: frozenset[str] = frozenset()) -> int:
        """0 nothing failed, 1 a result failed, 3 the run is incomplete.

        What a concession covers is no failure.

        Parameters
        ----------
        fail_on : "review" and "open" make such results count as failures. By default an *open*
            result counts only where no rule on the same body failed to explain it. With "new" only
            what is worse than in the earlier report counts.
        """
        if not self.complete:
            return 3
        counted = [result for result in self.results if result.conceded is None]
        if "new" in fail_on and self.baseline is not None:
            counted = [result for result in counted if result.is_worse]
        kinds = {result.kind for result in counted}
        if "fail" in kinds:
            return 1
        return 1 if "open" in kinds or kinds & fail_on else 0
