"""Every hook: a house plugin that takes part wherever it can."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lint3d import (
    Body,
    Inspection,
    Place,
    Places,
    Reading,
    ReadLimits,
    ReadPart,
    Region,
    Result,
    hookimpl,
    measure,
    rule,
)


class LineOfText:
    """Every facet of a point list stands on a line of its own."""

    def locate(self, facet: int) -> Region:
        return Region(start_line=facet + 2, end_line=facet + 2, facet=facet)


class PointListReader:
    """Triangles as nine numbers a line, behind a line that says "triangles"."""

    name = "point-list"
    suffixes = (".triangles",)

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        return 0.9 if head.startswith(b"triangles\n") else 0.0

    def read(self, data: bytes, limits: ReadLimits) -> Reading:
        rows = [line.split() for line in data.decode("ascii").splitlines()[1:]]
        corners = np.array(rows, np.float64).reshape(-1, 3)
        faces = np.arange(len(corners), dtype=np.int64).reshape(-1, 3)
        return Reading("point list", [ReadPart("listed", corners, faces, LineOfText())], unit="cm")


class CountWriter:
    """One line a kind."""

    name = "counts"
    suffixes = (".counts",)
    needs = frozenset({"mesh", "field:breadth"})

    def write(self, inspection: Inspection) -> bytes:
        lines = [f"{kind} {count}" for kind, count in sorted(inspection.counts().items())]
        lines += [f"{body} {sorted(kept)}" for body, kept in sorted(inspection.kept.items())]
        return "\n".join(lines).encode()


@measure(unit="mm")
def breadth(body: Body) -> Places:
    """How broad is the body along x?"""
    x = body.vertices[:, 0]
    return Places([Place(float(x.max() - x.min()), faces=[0])])


@rule("house/broad-part", measures="mm")
def broad_part(breadth: Places) -> Places:
    """Broader than our tray.

    Remedy: turn the part.
    """
    return breadth


@hookimpl
def lint3d_readers() -> list[object]:
    return [PointListReader()]


@hookimpl
def lint3d_measures() -> list[object]:
    return [breadth]


@hookimpl
def lint3d_rules() -> list[object]:
    return [broad_part]


@hookimpl
def lint3d_sheets() -> list[Path]:
    return [Path(__file__).with_name("every-hook-tray.toml")]


@hookimpl
def lint3d_writers() -> list[object]:
    return [CountWriter()]


@hookimpl
def lint3d_review(result: Result) -> list[str] | None:
    """A hook may leave out arguments that it does not need."""
    if result.rule == "house/broad-part" and result.kind == "fail":
        return ["Ask for the wide tray."]
    return None
