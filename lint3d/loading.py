"""How does a path become a `Source` with parts and bodies?

Opens the file (whatever is wrong with the path is told here), lets the surest reader read it,
converts lengths to mm, welds vertices, and splits each part into bodies. Nothing of the file or
beside it is ever run.
"""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from lint3d.bodies import build_part
from lint3d.errors import UnreadableFile
from lint3d.model import Fault, Reading, ReadPart, Source
from lint3d.readers import ReadLimits
from lint3d.units import LENGTH_UNITS, length_factor

HEAD_BYTES = 4096
#: Assumed where a format has no unit and none is given. common practice, no source
ASSUMED_UNIT = "mm"


@dataclass(frozen=True)
class LoadOptions:
    """Settings that change what is loaded."""

    unit: str | None = None
    weld_mm: float = 1e-4
    limits: ReadLimits = field(default_factory=ReadLimits)


class ReaderCrashed(Exception):
    """A reader raised something other than `UnreadableFile`."""

    def __init__(self, reader: str, error: BaseException) -> None:
        text = " ".join(str(error).split())
        super().__init__(f"the reader '{reader}' crashed: {type(error).__name__}: {text}")
        self.reader = reader


def load(path: str | Path, uri: str, readers: Mapping[str, Any], options: LoadOptions) -> Source:
    """Read a file. What is wrong with it stands in `Source.faults`; nothing is raised for it.

    Raises
    ------
    ReaderCrashed : a plugin's reader is faulty
    MemoryError : the file does not fit into the bounds
    """
    source = Source(uri=uri, path=str(path))
    try:
        data = _bytes_of(Path(path), options.limits)
        source.digest, source.length = hashlib.sha256(data).hexdigest(), len(data)
        reading = _read(data, Path(path).suffix.lower(), readers, options.limits)
    except UnreadableFile as error:
        region = error.region
        source.faults.append(
            Fault(error.message, error.remedy, region=region, fatal=True)  # type: ignore[arg-type]
        )
        return source
    source.format, source.members = reading.format, reading.members
    source.faults.extend(reading.faults)
    _set_unit(source, reading, options)
    _build(source, reading, options)
    return source


def _bytes_of(path: Path, limits: ReadLimits) -> bytes:
    """The file's bytes, or `UnreadableFile` that says what is wrong with the path."""
    try:
        status = os.stat(path)
        if stat.S_ISDIR(status.st_mode):
            os.scandir(path).close()  # one that may not be read is told as such
            raise UnreadableFile(
                "is a folder, not a file.",
                "Name the files in it, or the folder on the command line.",
            )
        if not stat.S_ISREG(status.st_mode):
            raise UnreadableFile("is a device or a pipe, not a file.", "Copy it to a file first.")
        if status.st_size > limits.file_bytes:
            raise UnreadableFile(
                f"is {status.st_size} bytes long; the setting read.file_bytes allows "
                f"{limits.file_bytes}.",
                "Raise the setting, or split the file.",
            )
        return path.read_bytes()
    except OSError as error:
        raise UnreadableFile(*_path_trouble(error)) from error
    except ValueError as error:
        raise UnreadableFile(f"has no usable name ({error}).", "Rename the file.") from error


def _path_trouble(error: OSError) -> tuple[str, str]:
    known = {
        errno.ENOENT: ("does not exist.", "Check the name and the folder."),
        errno.ENOTDIR: ("does not exist: a folder in its path is a file.", "Check the path."),
        errno.EACCES: ("may not be read.", "Give yourself permission to read it."),
        errno.EPERM: ("may not be read.", "Give yourself permission to read it."),
        errno.ELOOP: ("is a link that leads round in a circle.", "Replace the link by the file."),
        errno.ENAMETOOLONG: ("has a name that is too long.", "Rename the file."),
    }
    reason = error.strerror or type(error).__name__
    fallback = (f"cannot be opened ({reason}).", "Check the disk or the network drive, then retry.")
    return known.get(error.errno or 0, fallback)


def _read(data: bytes, suffix: str, readers: Mapping[str, Any], limits: ReadLimits) -> Reading:
    from lint3d.readers.sniff import unreadable_reason

    head = data[:HEAD_BYTES]
    if reason := unreadable_reason(head, suffix, len(data)):
        raise UnreadableFile(*reason)
    sure = []
    for name in sorted(readers):
        try:
            sure.append((float(readers[name].claims(head, suffix, len(data))), name))
        except (Exception, SystemExit) as error:
            raise ReaderCrashed(name, error) from error
    best, name = max(sure, key=lambda pair: pair[0], default=(0.0, ""))
    if best <= 0:
        known = ", ".join(sorted({s for reader in readers.values() for s in reader.suffixes}))
        raise UnreadableFile("is in no format that can be read here.", f"Readable: {known}.")
    try:
        reading = _checked(readers[name].read(data, limits))
    except (UnreadableFile, MemoryError):
        raise
    except (Exception, SystemExit) as error:
        raise ReaderCrashed(name, error) from error
    return reading


def _checked(reading: Any) -> Reading:
    """What a reader handed over, if it is as `lint3d.model` says; a plugin's may not be."""
    if not isinstance(reading, Reading):
        raise TypeError(f"it gave {type(reading).__name__} for a Reading")
    if reading.unit is not None and reading.unit not in LENGTH_UNITS:
        raise ValueError(f"it gave '{reading.unit}' for a unit of length")
    for part in reading.parts:
        if not isinstance(part, ReadPart):
            raise TypeError(f"it gave {type(part).__name__} for a ReadPart")
        if len(part.faces) and not 0 <= part.faces.min() <= part.faces.max() < len(part.vertices):
            raise IndexError("a face has a corner that there is not")
        # The least and the largest are NaN if any is: no array of flags is needed.
        if len(part.vertices) and not np.isfinite(part.vertices.min() + part.vertices.max()):
            raise ValueError("a coordinate is no finite number")
    return reading


def _set_unit(source: Source, reading: Reading, options: LoadOptions) -> None:
    if reading.unit is not None:
        source.unit, source.unit_origin = reading.unit, "found"
    elif options.unit is not None:
        source.unit, source.unit_origin = options.unit, "given"
    else:
        source.unit, source.unit_origin = ASSUMED_UNIT, "assumed"


def _build(source: Source, reading: Reading, options: LoadOptions) -> None:
    factor = length_factor(source.unit)
    names = _unique([part.name or f"part-{i}" for i, part in enumerate(reading.parts, 1)])
    for name, part in zip(names, reading.parts, strict=True):
        source.parts.append(build_part(part, name, source, factor, options.weld_mm))
    # A part may be called what the second body of another one is called: "pin/2".
    bodies = [body for part in source.parts for body in part.bodies]
    for body, name in zip(bodies, _unique([body.name for body in bodies]), strict=True):
        body.name = name
    if not reading.parts and not any(fault.fatal for fault in source.faults):
        source.faults.append(
            Fault(
                "holds no facet.",
                "Export the part again and check that something was selected.",
                fatal=True,
            )
        )


def _unique(names: Sequence[str]) -> list[str]:
    """Names of parts or bodies, a repeated one with -2, -3 … behind it."""
    taken: set[str] = set()
    tried: dict[str, int] = {}
    found = []
    for name in names:
        candidate = name
        while candidate in taken:
            tried[name] = tried.get(name, 1) + 1
            candidate = f"{name}-{tried[name]}"
        taken.add(candidate)
        found.append(candidate)
    return found
