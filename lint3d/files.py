"""Which files are meant, and what are they called in a report?

Folders are searched for the suffixes that readers know. A name in a report is a relative,
percent-encoded path with forward slashes, so that it is the same on every machine.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

from lint3d.errors import Lint3dError


def expand(files: Iterable[str | os.PathLike[str]], suffixes: Sequence[str]) -> list[Path]:
    """Every file that is meant, each once, sorted.

    Parameters
    ----------
    files : files and folders; none = the current folder
    suffixes : what to look for in folders, in small letters with the dot

    Raises
    ------
    Lint3dError : a folder holds nothing that can be inspected
    """
    found: dict[str, Path] = {}
    named = list(files)
    if any(os.fspath(one) == "" for one in named):
        raise Lint3dError("a file name is empty. Name a file or a folder.")
    for path in [Path(one) for one in named] or [Path()]:
        inside = list(_in_folder(path, suffixes)) if _is_folder(path) else [path]
        if not inside:
            raise Lint3dError(
                f"the folder '{path}' holds no file to inspect (looked for "
                f"{', '.join(sorted(suffixes))}). Name the files or another folder."
            )
        for one in inside:
            found.setdefault(os.path.abspath(one), one)
    return [found[key] for key in sorted(found)]


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def _in_folder(folder: Path, suffixes: Sequence[str]) -> Iterator[Path]:
    """Files with those suffixes, in it and below; hidden folders are passed over.

    A folder that cannot be read is among them, so that it is told as a fault and not passed over.
    """
    closed: list[Path] = []
    for here, folders, names in os.walk(
        folder, onerror=lambda error: closed.append(Path(error.filename))
    ):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(names):
            if not name.startswith(".") and os.path.splitext(name)[1].lower() in suffixes:
                yield Path(here) / name
    yield from closed


def uris(paths: Sequence[Path]) -> list[str]:
    """What each file is called in reports.

    Relative to the current folder if all lie in it, else to the folder they have in common.
    """
    absolute = [os.path.abspath(path) for path in paths]
    base = os.getcwd()
    if not all(path.startswith(base.rstrip(os.sep) + os.sep) for path in absolute):
        try:
            base = os.path.commonpath([os.path.dirname(path) for path in absolute])
        except ValueError:  # different drives
            return [quote(os.fsencode(Path(path).as_posix())) for path in absolute]
    return [_encoded(os.path.relpath(path, base)) for path in absolute]


def _encoded(path: str) -> str:
    return quote(os.fsencode(path.replace(os.sep, "/")))
