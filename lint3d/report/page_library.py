"""Where does the page's 3D library come from?

three.js (MIT) travels inside trimesh, for trimesh's own viewer; it is read from there and written
into the page, so that nothing is fetched and nobody needs node. Where a version of trimesh does not
carry it the page is written without 3D: its pictures and table say the same.
tests/report/test_page_library.py holds the installed trimesh to this.
"""

from __future__ import annotations

import re
import zipfile
from importlib.resources import files

_ARCHIVE = ("resources", "templates", "viewer.zip")
#: three.js's own licence line, up to the end of its module; what follows is trimesh's viewer.
_LIBRARY = re.compile(
    r"/\*\*\s*\* @license\s*\* Copyright [\d-]+ Three\.js Authors.*?"
    r'"__esModule",\s*\{\s*value:\s*!0\s*\}\)\s*\}\s*\)\s*\)?;?',
    re.DOTALL,
)


def three_js() -> str | None:
    """The source of three.js, which defines THREE; None if trimesh does not carry it."""
    import trimesh

    place = files(trimesh).joinpath(*_ARCHIVE)
    try:
        with place.open("rb") as file, zipfile.ZipFile(file) as archive:
            text = "".join(archive.read(name).decode("utf-8") for name in archive.namelist())
    except (OSError, zipfile.BadZipFile, UnicodeDecodeError):
        return None
    found = _LIBRARY.search(text)
    if found is None or "</script" in found[0]:
        return None
    return found[0].replace("\r\n", "\n")  # as a parser of HTML reads it: the digest must fit
