"""Formats: STL (binary and ASCII) and 3MF."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lint3d import hookimpl

if TYPE_CHECKING:
    from lint3d import Reader


@hookimpl
def lint3d_readers() -> list[Reader]:
    """The readers; numpy is imported with them, not with the plugin."""
    from lint3d.readers.stl_ascii import AsciiStlReader
    from lint3d.readers.stl_binary import BinaryStlReader
    from lint3d.readers.threemf import ThreeMfReader

    return [BinaryStlReader(), AsciiStlReader(), ThreeMfReader()]
