"""How is lint3d used from a terminal?

Thin: reads arguments, calls the library, sets the exit code. Everything heavy is imported where it
is used, so that `lint3d --help` starts at once.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

import lint3d
from lint3d.errors import Lint3dError, WriterError

if TYPE_CHECKING:
    from lint3d.inspection import Inspection

LISTS = ("rules", "measures", "sheets", "plugins", "readers")


class _Group(click.Group):
    """Errors of the library end with one plain message and its exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except Lint3dError as error:
            click.echo(f"lint3d: {error}", err=True)
            ctx.exit(error.exit_code)
        except KeyboardInterrupt:
            click.echo("lint3d: stopped.", err=True)
            ctx.exit(130)
        except (click.ClickException, click.exceptions.Exit, click.Abort, BrokenPipeError):
            raise
        except Exception as error:
            text = " ".join(f"{type(error).__name__}: {error}".split())
            click.echo(f"lint3d: a fault of lint3d itself, please report it: {text}", err=True)
            ctx.exit(3)


@click.group(cls=_Group, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--version",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=lambda ctx, _, given: _print_version(ctx) if given else None,
    help="Show the version of lint3d and of every installed plugin, and exit.",
)
def main() -> None:
    """Find what will not build in 3D models before they are printed.

    \b
    Exit codes: 0 nothing failed, 1 something failed, 2 wrong use or settings,
    3 the inspection is incomplete (a file unread, a rule crashed).
    """


def _print_version(ctx: click.Context) -> None:
    """Versions from what is installed; no plugin is imported for it."""
    from lint3d.registry import PluginSettings, find_plugins

    click.echo(f"lint3d {lint3d.__version__}")
    for plugin in find_plugins(PluginSettings()):
        if not plugin.built_in:
            click.echo(f"plugin {plugin.name} {plugin.version or '(no version)'}")
    ctx.exit(0)


def _complete(kind: str) -> Any:
    """What a shell offers after an option: names of rules and families, or of sheets."""

    def offered(ctx: click.Context, parameter: click.Parameter, begun: str) -> list[str]:
        from lint3d.registry import PluginSettings, load_registry

        registry = load_registry(PluginSettings())
        families = {rule.split("/")[0] for rule in registry.rules}
        names: dict[str, Iterable[str]] = {"rule": registry.rules, "sheet": registry.sheets}
        found = sorted(names.get(kind, {*registry.rules, *families}))
        return [name for name in found if name.startswith(begun)]

    return offered


def _common(command: Any) -> Any:
    """Options that say which sheet, plugins and configuration hold."""
    options = [
        click.option(
            "--process",
            metavar="SHEET",
            shell_complete=_complete("sheet"),
            help="Process sheet: a name or a .toml file. Default: mjt-meltable.",
        ),
        click.option(
            "--config",
            metavar="FILE",
            type=click.Path(dir_okay=False, path_type=Path),
            help="Settings; default: lint3d.toml here or in a folder above.",
        ),
        click.option(
            "--plugin",
            "plugins",
            metavar="MODULE_OR_FILE",
            multiple=True,
            help="Load a house plugin (may be repeated).",
        ),
    ]
    for option in reversed(options):
        command = option(command)
    return command


@main.command("inspect")
@click.argument("files", nargs=-1, type=click.Path(), metavar="[FILES_OR_FOLDERS]...")
@_common
@click.option(
    "--report",
    "reports",
    metavar="PATH",
    multiple=True,
    help="Write a report; the suffix decides its format (.sarif, .html, .md, .txt). Repeatable.",
)
@click.option(
    "--page",
    metavar="PATH.html",
    help="Write a page to look at, in one file: the parts in 3D beside the results.",
)
@click.option(
    "--pictures",
    metavar="FOLDER",
    type=click.Path(file_okay=False, path_type=Path),
    help="Write a PNG of each place and an overview of each part into a folder.",
)
@click.option(
    "--limit",
    "limits",
    metavar="RULE=NUMBER[UNIT]",
    multiple=True,
    help="Replace a limit of the sheet, e.g. size/units-doubt<=300mm. Repeatable.",
)
@click.option(
    "--only",
    metavar="RULE-OR-FAMILY",
    multiple=True,
    shell_complete=_complete("rule or family"),
    help="Run these only. Repeatable.",
)
@click.option(
    "--without",
    metavar="RULE-OR-FAMILY",
    multiple=True,
    shell_complete=_complete("rule or family"),
    help="Leave these out. Repeatable.",
)
@click.option(
    "--together",
    is_flag=True,
    default=None,
    help="All files stand in one common frame, as one assembly.",
)
@click.option(
    "--unit", metavar="UNIT", help="Unit of formats that have none: mm, um, cm, m, in, ft."
)
@click.option(
    "--workers",
    type=click.IntRange(min=0),
    metavar="N",
    help="Worker processes; 0 = none (no bounds on time and memory).",
)
@click.option(
    "--fail-on",
    type=click.Choice(["review", "open", "new"]),
    multiple=True,
    help="Count these as failures, too; new: only what is worse than in --baseline. Repeatable.",
)
@click.option(
    "--today", metavar="YYYY-MM-DD", help="The date by which accepted deviations are judged."
)
@click.option(
    "--baseline",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="An earlier .sarif report: say what is new, unchanged, updated or gone since.",
)
@click.option(
    "--concessions",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Accepted deviations; default: concessions.toml beside lint3d.toml.",
)
@click.option("-v", "--verbose", is_flag=True, help="Show every result, passed ones too.")
@click.option("-q", "--quiet", is_flag=True, help="Show only what failed or is open.")
@click.pass_context
def inspect_command(ctx: click.Context, /, **options: Any) -> None:
    """Inspect models and say what will not build.

    FILES_OR_FOLDERS are files, or folders that are searched; none means the current folder.
    """
    from lint3d.api import prepare, remember, run
    from lint3d.progress import Progress

    if "new" in options["fail_on"] and options["baseline"] is None:
        raise Lint3dError("--fail-on new needs the earlier report: --baseline FILE.sarif.")
    prepared = prepare(_settings(options), _today(options["today"]))
    remember(prepared, options["baseline"], options["concessions"])
    writers = _writers((*options["reports"], *_page(options["page"])), prepared.registry)
    keep = _needs(writers, options["pictures"])
    with Progress(sys.stderr) as progress:
        prepared.progress = progress.step
        prepared.expect, prepared.advance = progress.expect, progress.advance
        inspection = run(prepared, options["files"], keep)
    _show(inspection, options)
    failed = []
    if options["pictures"]:  # before the reports, which may show them
        failed += _write_pictures(inspection, options["pictures"], options["quiet"])
    failed += _write(inspection, writers, options["pictures"])
    if failed:
        raise WriterError(" ".join(failed))
    if writers and not options["quiet"]:
        click.echo(f"Report written: {', '.join(writers)}", err=True)
    fail_on = frozenset(options["fail_on"]) | frozenset(prepared.config.fail_on)
    ctx.exit(inspection.exit_code(fail_on))


def _settings(options: dict[str, Any]) -> Any:
    from lint3d.api import settings

    return settings(
        options.get("config"),
        process=options["process"],
        plugins=options["plugins"],
        limits=options.get("limits", ()),
        only=options.get("only", ()),
        without=options.get("without", ()),
        together=options.get("together"),
        unit=options.get("unit"),
        workers=options.get("workers"),
    )


def _today(text: str | None) -> date | None:
    return None if text is None else _date(text, "--today")


def _date(text: str, option: str) -> date:
    try:
        return datetime.strptime(text, "%Y-%m-%d").date()
    except ValueError:
        raise Lint3dError(f"{option} {text}: write a date as YYYY-MM-DD.") from None


def _page(path: str | None) -> tuple[str, ...]:
    """The page as one report more."""
    if path is None:
        return ()
    if not path.lower().endswith((".html", ".htm")):
        raise Lint3dError(f"--page {path}: the name of a page ends in .html.")
    return (path,)


def _writers(reports: tuple[str, ...], registry: Any) -> dict[str, Any]:
    """The writer for each report path, known before anything is inspected."""
    by_suffix = {s: writer for writer in registry.writers.values() for s in writer.suffixes}
    found = {}
    for path in reports:
        fitting = [suffix for suffix in by_suffix if path.lower().endswith(suffix)]
        if not fitting:
            raise Lint3dError(
                f"--report {path}: no report format has this suffix; known: "
                f"{', '.join(sorted(by_suffix))}."
            )
        if not Path(path).absolute().parent.is_dir():
            raise Lint3dError(f"--report {path}: there is no folder '{Path(path).parent}'.")
        found[path] = by_suffix[max(fitting, key=len)]
    return found


def _show(inspection: Inspection, options: dict[str, Any]) -> None:
    import shutil

    from lint3d.report.console import render

    colour = sys.stdout.isatty() and "NO_COLOR" not in os.environ
    width = shutil.get_terminal_size((80, 24)).columns if sys.stdout.isatty() else 80
    text = render(
        inspection,
        width=max(width, 60),
        colour=colour,
        verbose=options["verbose"],
        quiet=options["quiet"],
    )
    _utf8(sys.stdout)
    click.echo(text, nl=not text.endswith("\n"), color=colour)


def _utf8(stream: Any) -> None:
    """A terminal that cannot show a letter gets a stand-in, not an error."""
    if hasattr(stream, "reconfigure"):
        stream.reconfigure(errors="replace")


def _needs(writers: dict[str, Any], pictures: Path | None) -> frozenset[str]:
    """What the engine must keep."""
    found = {need for writer in writers.values() for need in writer.needs}
    if pictures is not None:
        from lint3d.report.picture import NEEDS

        found |= NEEDS
    return frozenset(found)


def _write_pictures(inspection: Inspection, folder: Path, quiet: bool) -> list[str]:
    """Write the pictures; what went wrong."""
    from lint3d.progress import Progress
    from lint3d.report.picture import write_pictures

    try:
        with Progress(sys.stderr) as progress:
            names = write_pictures(inspection, folder, None if quiet else progress.step)
    except OSError as error:
        return [f"--pictures {folder}: cannot be written ({error.strerror})."]
    inspection.picture_names = frozenset(names)
    if not quiet:
        click.echo(f"Pictures written: {len(names)} in {folder}", err=True)
    return []


def _write(
    inspection: Inspection, writers: dict[str, Any], pictures: Path | None = None
) -> list[str]:
    """Write every report; one that cannot be written keeps none of the others from it.

    Returns
    -------
    What went wrong
    """
    failed = []
    for path, writer in writers.items():
        try:
            if pictures is not None:
                inspection.picture_folder = _as_seen_from(Path(path).parent, pictures)
            Path(path).write_bytes(writer.write(inspection))
        except OSError as error:
            failed.append(f"--report {path}: cannot be written ({error.strerror}).")
        except Exception as error:
            text = " ".join(f"{type(error).__name__}: {error}".split())
            failed.append(f"--report {path}: the writer '{writer.name}' crashed: {text}.")
    return failed


def _as_seen_from(folder: Path, pictures: Path) -> str:
    try:
        return Path(os.path.relpath(pictures, folder)).as_posix()
    except ValueError:  # another drive
        return pictures.absolute().as_posix()


@main.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@click.option("-v", "--verbose", is_flag=True, help="Show what is unchanged, too.")
@click.pass_context
def compare_command(ctx: click.Context, old: Path, new: Path, verbose: bool) -> None:
    """Say what was cured, what came and what changed between two .sarif reports.

    \b
    Exit codes: 0 nothing got worse, 1 something is new or got worse, 2 wrong use,
    3 the new report is incomplete.
    """
    from lint3d.baseline import any_worse, changes
    from lint3d.report.comparison import render_comparison
    from lint3d.snapshot import read_report

    before, after = read_report(old), read_report(new)
    found = changes(before, after)
    _utf8(sys.stdout)
    click.echo(render_comparison(before, after, found, verbose=verbose), nl=False)
    ctx.exit(3 if not after.complete else 1 if any_worse(found) else 0)


@main.command("concede")
@click.argument("report", type=click.Path(path_type=Path))
@click.argument("result")
@click.option("--reason", required=True, help="Why it may be used all the same.")
@click.option("--by", required=True, metavar="WHO", help="Who answers for it.")
@click.option("--until", required=True, metavar="YYYY-MM-DD", help="The last day it holds.")
@click.option("--up-to", required=True, metavar="NUMBER[UNIT]", help="The worst value it covers.")
@click.option(
    "--concessions",
    metavar="FILE",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Where to write it; default: concessions.toml beside lint3d.toml.",
)
@click.option("--today", metavar="YYYY-MM-DD", help="The date that --until is held against.")
def concede_command(report: Path, result: str, **options: Any) -> None:
    """Accept a failure on purpose, until a day and up to a value (a concession).

    REPORT is a .sarif report, RESULT the first eight digits of the result's key, as the table
    shows it. The result stays in every report, with the concession beside it.
    """
    from lint3d.conceding import Wish, add_concession

    until = _date(options["until"], "--until")
    today = _today(options["today"]) or date.today()
    path = options["concessions"] or _concessions_beside_settings()
    wish = Wish(options["reason"], options["by"], until, options["up_to"])
    made = add_concession(report, result, wish, path, today)
    click.echo(f"Conceded in {path}: {made.text()}, until {made.until.isoformat()}.")


def _concessions_beside_settings() -> Path:
    from lint3d.concession import FILE_NAME
    from lint3d.config import find_config

    settings = find_config(Path.cwd())
    if settings is None:
        raise Lint3dError(
            f"there is no lint3d.toml here or above to put {FILE_NAME} beside. Make one (it may be "
            "empty), or name a file with --concessions."
        )
    return Path(os.path.relpath(settings.with_name(FILE_NAME)))


@main.command()
@click.argument("rule", shell_complete=_complete("rule or family"))
@_common
def explain(rule: str, **options: Any) -> None:
    """Say what a rule looks for, what is required and why, and how to mend it.

    RULE may also be a family (walls) or a word of the table's first column (REVIEW).
    """
    from lint3d.api import prepare
    from lint3d.listing import explained

    click.echo(explained(prepare(_settings(options)), rule))


@main.command("list")
@click.argument("what", type=click.Choice(LISTS))
@_common
def list_command(what: str, **options: Any) -> None:
    """List rules, measures, sheets, plugins or readers."""
    from lint3d.api import prepare
    from lint3d.listing import listed

    click.echo(listed(prepare(_settings(options)), what))


@main.command("start")
@click.argument("kind", type=click.Choice(["plugin", "sheet"]))
@click.argument("name")
def start_command(kind: Any, name: str) -> None:
    """Begin with house rules (plugin) or limits of your own (sheet).

    Writes a small folder NAME that works at once: a rule or limits, a part to try, and a test.
    """
    from lint3d.start import start

    for path in start(kind, name, Path()):
        click.echo(path.as_posix())
    click.echo(f"\nNext: cd {name} && python -m pytest. README.md there says how to go on.")


@main.command("check-plugin")
@click.argument("plugin")
@click.option("--process", "sheet", metavar="SHEET", help="A sheet with entries for its rules.")
@click.option(
    "--sample",
    "samples",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    multiple=True,
    metavar="FILE",
    help="Run its rules over this part, too. Repeatable.",
)
@click.option(
    "--frame-dependent",
    metavar="RULE",
    multiple=True,
    help="This rule's value is meant to depend on how the part lies. Repeatable.",
)
@click.pass_context
def check_plugin(ctx: click.Context, /, plugin: str, **options: Any) -> None:
    """Say whether a plugin keeps the contract: names, words, sameness, no crash.

    PLUGIN is a module, a .py file, or the name of an installed plugin.
    """
    from lint3d.contract import contract_breaches

    found = contract_breaches(plugin, **options)
    for breach in found:
        click.echo(f"- {breach}")
    click.echo(f"{plugin} {'breaks' if found else 'keeps'} the contract.")
    ctx.exit(1 if found else 0)


@main.command()
@click.argument("shell", type=click.Choice(["bash", "zsh", "fish"]))
def completion(shell: str) -> None:
    """Print what makes a shell complete commands, options, rules and sheets.

    \b
    bash: eval "$(lint3d completion bash)"      in ~/.bashrc
    zsh:  eval "$(lint3d completion zsh)"       in ~/.zshrc
    fish: lint3d completion fish | source       in config.fish
    """
    from click.shell_completion import get_completion_class

    complete = get_completion_class(shell)
    assert complete is not None
    click.echo(complete(main, {}, "lint3d", "_LINT3D_COMPLETE").source())
