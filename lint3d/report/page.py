"""How is the page for people written with `--page` or `--report name.html`?

The writer alone, light enough to be loaded with every run; `page_document.py` builds the page.
"""

from __future__ import annotations

from lint3d.inspection import Inspection
from lint3d.report.picture import NEEDS

#: The field that can be laid over the surface: how thick the material is.
FIELD = "field:spans"


class PageWriter:
    """A page to look at, in one file that opens from disk."""

    name = "page"
    suffixes = (".html", ".htm")
    needs: frozenset[str] = NEEDS | {FIELD}

    def write(self, inspection: Inspection) -> bytes:
        """The page in UTF-8."""
        from lint3d.report.page_document import document

        return document(inspection).encode("utf-8")
