"""What stands on the page for paper, and for browsers that run no script or have no 3D?

The inspection table with the pictures, as plain HTML. Everything that came from a file is escaped.
"""

from __future__ import annotations

import base64
from collections.abc import Mapping
from html import escape

from lint3d.inspection import Inspection, Result
from lint3d.report.cells import safe
from lint3d.report.fingerprint import short_keys
from lint3d.report.marks import MARKS, kind_shown
from lint3d.report.page_results import accepted_text, state_text
from lint3d.report.picture import ranked
from lint3d.report.wording import (
    count,
    file_text,
    measured_text,
    other_text,
    position_text,
    requirement_text,
    sentence,
    since_text,
)

#: Kinds of results that are told one by one.
TOLD = ("fail", "open", "review", "informational")


def text(value: str) -> str:
    """Any text as HTML shows it: nothing of it is markup, nothing in it controls the page."""
    return escape(safe(value.replace("\n", " ")))


def picture_tag(png: bytes, about: str) -> str:
    """An embedded picture."""
    data = base64.b64encode(png).decode("ascii")
    return f'<img alt="{text(about)}" loading="lazy" src="data:image/png;base64,{data}">'


def mark_svg(kind: str) -> str:
    """The sign of a verdict; drawn by the style sheet's colours."""
    return f'<svg class="mark" aria-hidden="true"><use href="#mark-{kind}"/></svg>'


def table(inspection: Inspection, pictures: Mapping[int, bytes]) -> str:
    """The inspection table.

    Parameters
    ----------
    pictures : PNG by row of `inspection.results`
    """
    units = {rule.id: rule.unit for rule in inspection.rules}
    keys = short_keys(inspection.results)
    rows = [row for row in ranked(inspection.results) if inspection.results[row].kind in TOLD]
    lines = []
    for row in rows:
        result = inspection.results[row]
        unit = units.get(result.rule, "1")
        lines.append(_row(result, unit, keys[id(result)], pictures.get(row)))
    if not lines:
        lines = ['<tr><td colspan="6">Everything was measured and passed.</td></tr>']
    head = "".join(
        f'<th scope="col">{name}</th>'
        for name in ("Verdict", "Characteristic", "Required", "Measured", "Where", "Result")
    )
    return (
        f"<table><thead><tr>{head}</tr></thead><tbody>{''.join(lines)}</tbody></table>"
        f"<p>{text(_rest(inspection))}</p>"
    )


def _row(result: Result, unit: str, key: str, png: bytes | None) -> str:
    kind = kind_shown(result)
    words = MARKS[kind].word
    body = result.body or result.part
    where = [text(file_text(result.uri))]
    if body:
        where.append(text(body))
    if result.position is not None:
        where.append(f"{position_text(result.position)} mm")
    said = [sentence(result.message), other_text(result)]
    if result.remedy:
        said.append(f"Remedy: {sentence(result.remedy)}")
    said += [sentence(remark) for remark in result.remarks]
    said += [accepted_text(result), since_text(result)]
    about = f"{result.rule} {body or ''}"
    picture = f'<div class="picture">{picture_tag(png, about)}</div>' if png else ""
    state = f"<br>{text(state_text(result))}" if result.state else ""
    cells = (
        f'<td class="{kind}">{mark_svg(kind)} <b>{words}</b>{state}</td>'
        f"<td><b>{text(result.rule)}</b></td>"
        f'<td data-name="Required">{text(requirement_text(result.requirement))}</td>'
        f'<td data-name="Measured">{text(measured_text(result, unit))}</td>'
        f"<td>{'<br>'.join(where)}</td><td><code>{key}</code></td>"
    )
    told = text(" ".join(part for part in said if part))
    return f'<tr>{cells}</tr><tr class="told"><td colspan="6">{told}{picture}</td></tr>'


def _rest(inspection: Inspection) -> str:
    """What the table leaves out."""
    counts = inspection.counts()
    words = [
        f"{counts[kind]:,} {MARKS[kind].word if kind == 'notApplicable' else 'passed'}"
        for kind in ("pass", "notApplicable")
        if counts.get(kind)
    ]
    return f"Also: {', '.join(words)}." if words else ""


def files(inspection: Inspection) -> str:
    """What was inspected, and how far."""
    lines = []
    for item in sorted(inspection.artifacts, key=lambda item: item.uri):
        if item.parent is not None:
            continue
        about = [item.format or "not read"]
        if item.unit:
            about.append(f"unit {item.unit} ({item.unit_origin})")
        about += [count(len(item.bodies), "body", "bodies"), count(item.faces, "face")]
        lines.append(f"<li><b>{text(file_text(item.uri))}</b> {text(', '.join(about))}</li>")
    notes = [
        f"<li>{text(sentence(note.message))}</li>"
        for note in sorted(inspection.notifications, key=lambda note: note.sort_key())
    ]
    told = f"<h3>About the run</h3><ul>{''.join(notes)}</ul>" if notes else ""
    return f"<ul>{''.join(lines)}</ul>{told}"
