"""Which bodies stand on the page, and as what meshes?

Bodies that share a frame make a scene: those of one file, or of all files with `--together`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lint3d.inspection import Inspection
from lint3d.report.cells import safe
from lint3d.report.page import FIELD
from lint3d.report.page_field import split_by_facing, values_at
from lint3d.report.page_mesh import creases, packed, packed_points, packed_rows, refined, simplified
from lint3d.report.picture_stage import Stages
from lint3d.report.wording import file_text

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Faces on the whole page; beyond it meshes are simplified, each by the same share.
MOST_FACES = 300_000
#: A body is not simplified below this.
FEWEST_FACES = 400
#: Faces that a body is cut into, so that its thickness can be coloured, and those of a whole page.
FIELD_FACES, FIELD_FACES_IN_ALL = 24_000, 260_000
_STEPS = 254


@dataclass(frozen=True)
class PageScenes:
    """The scenes as JSON holds them.

    Attributes
    ----------
    scenes : one entry a frame
    where : which scene and body each kept body ("uri#body") is
    simplified : names of the bodies that are shown with fewer faces than they have
    """

    scenes: list[dict[str, Any]]
    where: dict[str, tuple[int, int]]
    simplified: list[str]


def page_scenes(inspection: Inspection, stages: Stages) -> PageScenes:
    """Every kept body, by frame."""
    together = bool(inspection.settings.get("together"))
    total = sum(len(faces) for _, faces in stages.meshes.values())
    share = min(1.0, MOST_FACES / max(total, 1))
    fields = sum(1 for kept in inspection.kept.values() if FIELD in kept)
    room = min(FIELD_FACES, FIELD_FACES_IN_ALL // max(fields, 1))
    scenes: list[dict[str, Any]] = []
    by_frame: dict[str, int] = {}
    found = PageScenes(scenes, {}, [])
    for key, mesh in stages.meshes.items():
        if not len(mesh[1]):
            continue
        uri, _, name = key.partition("#")
        frame = "" if together else uri
        if frame not in by_frame:
            by_frame[frame] = len(scenes)
            title = "All files together" if together else safe(file_text(uri))
            scenes.append({"name": title, "bodies": []})
        most = max(FEWEST_FACES, int(len(mesh[1]) * share))
        shown = simplified(*mesh, most)
        if len(shown[1]) < len(mesh[1]):
            found.simplified.append(f"{safe(name)} ({len(shown[1]):,} of {len(mesh[1]):,} faces)")
        bodies = scenes[by_frame[frame]]["bodies"]
        found.where[key] = (by_frame[frame], len(bodies))
        field = inspection.kept[key].get(FIELD)
        bodies.append({"name": safe(name), **_body(mesh, shown, field, room)})
    return found


def _body(
    mesh: tuple[Floats, Ints],
    shown: tuple[Floats, Ints],
    field: dict[str, Any] | None,
    room: int,
) -> dict[str, Any]:
    low, high = mesh[0][np.unique(mesh[1])].min(axis=0), mesh[0][np.unique(mesh[1])].max(axis=0)
    lines = creases(*shown)
    body: dict[str, Any] = {"low": _plain(low), "high": _plain(high), "faces": len(mesh[1])}
    body["lines"] = packed_points(shown[0][lines], low, high)
    if field is None or not len(field["value"]):
        body["points"] = packed_points(shown[0], low, high)
        body["rows"] = packed_rows(shown[1])
        return body
    vertices, faces, facing = split_by_facing(*refined(*shown, max(room, len(shown[1]))))
    value = values_at(vertices, facing, field, mesh)
    top = float(field["high"])
    steps = np.where(value >= top, 255, np.floor(value / top * _STEPS)).clip(0, 255)
    body["points"] = packed_points(vertices, low, high)
    body["rows"] = packed_rows(faces)
    body["field"] = {"high": float(f"{top:.6g}"), "data": packed(steps.astype(np.uint8))}
    return body


def _plain(point: Floats) -> list[float]:
    return [float(f"{x:.9g}") for x in point]
