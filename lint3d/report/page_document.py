"""What does the page for people look like as a file?

One HTML file that opens from disk and asks for nothing: script, style, pictures and meshes are in
it. Its content security policy lets nothing run but the page's own scripts, known by their digests;
what came from a file is data, shown as text. Guarded by tests/report/test_page.py and, in a real
browser, tests/report/test_page_browser.py.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections import Counter
from importlib.resources import files
from string import Template
from typing import Any

from lint3d.inspection import Inspection
from lint3d.report import page_table
from lint3d.report.marks import MARKS, kind_shown
from lint3d.report.page_library import three_js
from lint3d.report.page_results import page_results
from lint3d.report.page_scene import page_scenes
from lint3d.report.picture import MOST_OVERVIEWS, MOST_PICTURES, pictures
from lint3d.report.picture_stage import Stages
from lint3d.report.plain import writable
from lint3d.report.wording import file_text

PICTURE_WIDTH, PICTURE_COLOURS = 840, 128
_SCRIPTS = ("page_space.js", "page_camera.js", "page_overlay.js", "page_list.js", "page_start.js")


def document(inspection: Inspection) -> str:
    """The whole page."""
    stages = Stages(inspection)
    scenes = page_scenes(inspection, stages)
    data = {
        "scenes": scenes.scenes,
        "results": page_results(inspection, stages, scenes),
        "marks": {kind: mark.word for kind, mark in MARKS.items()},
        "limit": _limit(inspection),
    }
    of_results, of_parts = _pictures(inspection)
    script = "\n".join([three_js() or "", *(_file(name) for name in _SCRIPTS)])
    style = _file("page.css") + _colours()
    return Template(_file("page.html")).substitute(
        policy=_policy(script, style),
        title=page_table.text(_title(inspection)),
        sheet=page_table.text(inspection.sheet.title),
        version=page_table.text(inspection.version),
        counts=_counts(inspection),
        table=page_table.table(inspection, of_results),
        parts="".join(of_parts),
        files=page_table.files(inspection),
        simplified=page_table.text(_simplified(scenes.simplified)),
        marks=_file("marks.svg"),
        style=style,
        data=_json(data),
        script=script,
    )


def _title(inspection: Inspection) -> str:
    names = [file_text(item.uri) for item in inspection.artifacts if item.parent is None]
    if len(names) == 1:
        return f"Inspection of {names[0]}"
    return f"Inspection of {len(names)} files"


def _counts(inspection: Inspection) -> str:
    counts = Counter(kind_shown(result) for result in inspection.results)
    return "".join(
        f'<li class="{kind}">{page_table.mark_svg(kind)} <b>{counts[kind]:,}</b> {mark.word}</li>'
        for kind, mark in MARKS.items()
        if counts.get(kind)
    )


def _simplified(names: list[str]) -> str:
    if not names:
        return ""
    shown = "; ".join(names[:6]) + ("; …" if len(names) > 6 else "")
    return (
        f"For viewing only, meshes are simplified here: {shown}. "
        "What was measured was measured on the files as they are."
    )


def _limit(inspection: Inspection) -> dict[str, Any] | None:
    """The limit that the thickness is shown against, if walls/thin-wall has one."""
    for result in inspection.results:
        asked = result.requirement
        if result.rule == "walls/thin-wall" and asked is not None and asked.low is not None:
            return {"value": asked.low, "text": asked.text()}
    return None


def _pictures(inspection: Inspection) -> tuple[dict[int, bytes], list[str]]:
    """Small pictures: PNG by row of the results, and figures of the parts."""
    of_results: dict[int, bytes] = {}
    of_parts: list[str] = []
    for picture in pictures(inspection, most_results=MOST_PICTURES, most_parts=MOST_OVERVIEWS):
        png = picture.png(PICTURE_COLOURS, PICTURE_WIDTH)
        if picture.result is not None:
            of_results[picture.result] = png
        else:
            tag = page_table.picture_tag(png, picture.title)
            of_parts.append(f"<figure>{tag}</figure>")
    return of_results, of_parts


def _json(data: Any) -> str:
    """JSON that no HTML parser takes for a tag or a comment."""
    written = json.dumps(data, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for sign in "<>&":
        written = written.replace(sign, f"\\u{ord(sign):04x}")
    return written


def _policy(script: str, style: str) -> str:
    """Nothing is loaded, and nothing runs but what the page itself was written with."""
    return (
        f"default-src 'none'; script-src 'sha256-{_digest(script)}'; "
        f"style-src 'sha256-{_digest(style)}'; img-src data:; base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    return base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _colours() -> str:
    light = "".join(f"--{kind}:{mark.colour};" for kind, mark in MARKS.items())
    dark = "".join(f"--{kind}:{mark.colour_on_dark};" for kind, mark in MARKS.items())
    return (
        f":root{{{light}}}\n@media screen and (prefers-color-scheme:dark){{:root{{{dark}}}}}\n"
        + "".join(f".{kind}{{--tint:var(--{kind})}}\n" for kind in MARKS)
    )


def _file(name: str) -> str:
    text = (files("lint3d.report") / "page_files" / name).read_text("utf-8")
    return writable(text)
