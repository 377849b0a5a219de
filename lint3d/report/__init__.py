"""What must a report writer offer?

All writers get the same `Inspection` and measure nothing of their own.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol, runtime_checkable

if TYPE_CHECKING:
    from lint3d.inspection import Inspection


@runtime_checkable
class Writer(Protocol):
    """One report format."""

    @property
    def name(self) -> str:
        """Plain name: "sarif"."""

    @property
    def suffixes(self) -> tuple[str, ...]:
        """Which `--report` paths it writes: (".sarif", ".sarif.json")."""

    @property
    def needs(self) -> frozenset[str]:
        """What the engine must keep for it: "mesh" and "field:" with the name of a measure (in
        `Inspection.kept`, by "uri#body"), "places" (the faces of each place, in the results)."""

    def write(self, inspection: Inspection) -> bytes:
        """The whole report."""
        ...
