"""What does the terminal's table look like as a file?"""

from __future__ import annotations

from lint3d.inspection import Inspection
from lint3d.report.console import render

#: Columns; a file is not bound to a terminal's 80.
WIDTH = 100


class TextWriter:
    """The table of the terminal as plain text in UTF-8, without colour."""

    name = "text"
    suffixes = (".txt",)
    needs: frozenset[str] = frozenset()

    def write(self, inspection: Inspection) -> bytes:
        """The table, 100 columns wide."""
        return render(inspection, width=WIDTH).encode("utf-8")
