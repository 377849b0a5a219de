"""Where can a plugin take part? Every extension point of lint3d, and its contract.

A plugin is a module (or a single `.py` file given with `--plugin`) with functions of these names,
each marked with `@hookimpl`. Hooks are called once, while plugins are loaded and before any file is
opened; each plugin is called on its own, so that one that raises is named and the others still run.
Plugins are called in the order of their names. A hook returns a list (an empty one if there is
nothing to add) and never changes its arguments. A misspelt hook name is an error.

`lint3d_review` is the exception: it is called while results are collected, see there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import pluggy

if TYPE_CHECKING:
    from pathlib import Path

    from lint3d.declare import Measure, Rule
    from lint3d.inspection import Inspection, Result
    from lint3d.readers import Reader
    from lint3d.report import Writer

PROJECT = "lint3d"
hookspec = pluggy.HookspecMarker(PROJECT)
hookimpl = pluggy.HookimplMarker(PROJECT)


@hookspec
def lint3d_readers() -> list[Reader]:
    """File formats that the plugin can read.

    Readers are asked in the order of their names whether a file is theirs (by its first bytes and
    its suffix); the most certain one reads it. `lint3d.readers.Reader` says what one must offer. A
    reader raises `UnreadableFile` when nothing can be inspected; any other exception is reported as
    a fault of the plugin, and the file as not inspected.

    Example
    -------
    ::

        @hookimpl
        def lint3d_readers():
            return [PointListReader()]
    """
    raise NotImplementedError


@hookspec
def lint3d_measures() -> list[Measure]:
    """Measures (`@measure`) that the plugin offers to every rule, by their function's name.

    A name offered twice is an error that names both plugins. A measure that raises `NotMeasurable`
    makes the rules over it *open*; one that raises anything else is a notification, makes the run
    incomplete, and the rules over it *open*.

    Example
    -------
    ::

        @measure(unit="mm3")
        def volume(body: Body) -> float:
            "How much material is in the body?"
            return abs(float(body.mesh.volume))

        @hookimpl
        def lint3d_measures():
            return [volume]
    """
    raise NotImplementedError


@hookspec
def lint3d_rules() -> list[Rule]:
    """Rules (`@rule`) that the plugin offers. At least one registered sheet must have an entry for
    each of them.

    Example
    -------
    ::

        @rule("house/heavy-part", measures="mm3")
        def heavy_part(volume: float):
            "More material than our tray carries. Remedy: hollow the part."
            yield Place(volume)

        @hookimpl
        def lint3d_rules():
            return [heavy_part]
    """
    raise NotImplementedError


@hookspec
def lint3d_sheets() -> list[Path]:
    """Process sheets (TOML files) that `--process` and `extends` can name by their stem.

    Example
    -------
    ::

        @hookimpl
        def lint3d_sheets():
            return [Path(__file__).with_name("our-machine.toml")]
    """
    raise NotImplementedError


@hookspec
def lint3d_writers() -> list[Writer]:
    """Report formats that `--report PATH` can write; the path's suffix decides.

    Example
    -------
    ::

        @hookimpl
        def lint3d_writers():
            return [CsvWriter()]
    """
    raise NotImplementedError


@hookspec
def lint3d_review(result: Result, inspection: Inspection) -> list[str] | None:
    """Look at each result once all are there, before reports are written.

    Return remarks to add to it (plain sentences), or None. Results cannot be removed or their
    verdict changed here. An exception is a notification and the result stays as it was.

    Example
    -------
    ::

        @hookimpl
        def lint3d_review(result, inspection):
            if result.rule == "walls/thin-wall" and result.kind == "fail":
                return ["Ask the bench for the ribbing template."]
    """
    raise NotImplementedError
