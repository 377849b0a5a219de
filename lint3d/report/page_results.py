"""What does the page know of each result? Words for the list, and what is drawn in 3D."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.inspection import Inspection, Result
from lint3d.report.cells import safe
from lint3d.report.fingerprint import short_keys
from lint3d.report.marks import kind_shown
from lint3d.report.page_mesh import clustered, packed_points
from lint3d.report.page_scene import PageScenes
from lint3d.report.picture import ranked
from lint3d.report.picture_result import dimension_ends
from lint3d.report.picture_stage import Stage, Stages
from lint3d.report.picture_view import LIKED, focus_of, narrowest, shot
from lint3d.report.wording import (
    file_text,
    measured_text,
    other_text,
    position_text,
    requirement_text,
    sentence,
    since_text,
)
from lint3d.requirement import number

Floats = NDArray[np.float64]

#: Faces of one place that are drawn; a larger one is drawn coarser.
MOST_DRAWN, MOST_DRAWN_PASSED = 6000, 800
#: Panels that the views are chosen for, in pixels.
_MAIN, _NEAR = (700, 600), (700, 600)


def page_results(
    inspection: Inspection, stages: Stages, scenes: PageScenes
) -> list[dict[str, Any]]:
    """Every result, what failed first."""
    rules = {rule.id: rule for rule in inspection.rules}
    keys = short_keys(inspection.results)
    found = []
    for row in ranked(inspection.results):
        result = inspection.results[row]
        rule = rules.get(result.rule)
        unit = rule.unit if rule else "1"
        entry = _words(result, unit, rule.title if rule else "", keys[id(result)])
        entry |= _in_space(result, stages, scenes)
        found.append(entry)
    return found


def _words(result: Result, unit: str, title: str, key: str) -> dict[str, Any]:
    """What stands in the list; texts are shown as they are, never as markup."""
    asked = requirement_text(result.requirement)
    source = result.requirement.source if result.requirement else ""
    texts = {
        "key": key,
        "kind": kind_shown(result),
        "rule": result.rule,
        "family": result.rule.partition("/")[0],
        "title": sentence(title),
        "file": file_text(result.uri),
        "body": result.body or result.part or "",
        "measured": measured_text(result, unit),
        "required": "" if asked == "–" else asked,
        "source": source if asked != "–" else "",
        "message": sentence(result.message),
        "other": other_text(result),
        "remedy": sentence(result.remedy),
        "where": position_text(result.position) if result.position else "",
        "remarks": " ".join(sentence(remark) for remark in result.remarks),
        "accepted": accepted_text(result),
        "state": state_text(result),
        "since": since_text(result),
    }
    return {name: safe(text) for name, text in texts.items() if text}


def accepted_text(result: Result) -> str:
    """Under which concession a failure is accepted; empty without one."""
    given = result.conceded
    if given is None:
        return ""
    return (
        f"Accepted by {given.by} until {given.until.isoformat()}, up to {number(given.up_to)}: "
        f"{sentence(given.reason)}"
    )


def state_text(result: Result) -> str:
    """How the result stands against an earlier report; empty without one."""
    if result.state is None:
        return ""
    return "worse" if result.is_worse and result.state != "new" else result.state


def _in_space(result: Result, stages: Stages, scenes: PageScenes) -> dict[str, Any]:
    """Where it is drawn; empty for what has no place on a body of the page."""
    stage = stages.of_result(result)
    body = scenes.where.get(f"{result.uri}#{result.body}")
    if stage is None or (result.position is None and result.triangles is None):
        return {}
    if body is None:
        frames = [where for key, where in scenes.where.items() if key.startswith(f"{result.uri}#")]
        if not frames:
            return {}
        body = (frames[0][0], -1)
    found: dict[str, Any] = {"scene": body[0], "on": body[1]}
    other = scenes.where.get(f"{result.other_uri or result.uri}#{result.other}")
    if result.other is not None and other is not None:
        found["onOther"] = other[1]
    return found | _view(result, stage) | _drawn(result)


def _view(result: Result, stage: Stage) -> dict[str, Any]:
    focus = focus_of(result, stage)
    found: dict[str, Any] = {"focus": _plain(focus), "eye": _plain(LIKED)}
    if result.kind in ("pass", "notApplicable"):
        return found | {"width": _short(stage.size / 3)}
    views = shot(stage, result, _MAIN, _NEAR)
    near = views.near.pixel * _NEAR[0]
    # Near enough for the dimension, far enough to know where one is.
    width = float(np.sqrt(near * stage.size))
    if result.ends is None and not result.path and result.triangles is not None:
        extent = np.linalg.norm(np.ptp(result.triangles.reshape(-1, 3), axis=0))
        width = float(np.clip(1.2 * extent, width, max(width, stage.size)))
    found |= {"eye": _plain(views.main.eye), "width": _short(width)}
    if views.hidden and views.near.plane is not None:
        found["cut"] = {
            "point": _plain(views.near.plane.point),
            "normal": _plain(views.near.plane.normal),
        }
    ends = dimension_ends(result, views.near)
    if ends is not None:
        found["ends"] = [_plain(end) for end in ends]
    return found


def _drawn(result: Result) -> dict[str, Any]:
    most = MOST_DRAWN_PASSED if result.kind in ("pass", "notApplicable") else MOST_DRAWN
    found: dict[str, Any] = {}
    for name, triangles in (("faces", result.triangles), ("facesOther", result.other_triangles)):
        if triangles is not None and len(triangles):
            found[name] = _packed_triangles(np.asarray(triangles, np.float64), most)
    if len(result.path) > 1:
        found["path"] = [_plain(step.position) for step in result.path]
        if narrow := narrowest(result):
            found["throat"] = {"at": _plain(narrow[0]), "wide": _short(narrow[1])}
    return found


def _packed_triangles(triangles: Floats, most: int) -> dict[str, Any]:
    """Corner after corner."""
    corners = triangles.reshape(-1, 3)
    low, high = corners.min(axis=0), corners.max(axis=0)
    faces = np.arange(len(corners)).reshape(-1, 3)
    cell = max(float((high - low).max()), 1e-9) / 300
    while len(faces) > most:
        corners, faces = clustered(corners, faces, cell)
        cell *= 1.5
    return packed_points(corners[faces].reshape(-1, 3), low, high)


def _plain(point: Any) -> list[float]:
    return [_short(x) for x in point]


def _short(value: float) -> float:
    return float(f"{float(value):.7g}")
