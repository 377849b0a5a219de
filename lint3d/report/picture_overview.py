"""What does the picture of a whole part show? Every place of it, numbered, with a legend."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from lint3d.inspection import Result
from lint3d.report.marks import mark_of, rgb
from lint3d.report.picture_draw import FAINT, WHITE, Sheet, cut_to, width_of
from lint3d.report.picture_result import scale_bar
from lint3d.report.picture_stage import Stage
from lint3d.report.picture_trace import PAPER, Marking, traced
from lint3d.report.picture_view import View, best_eye, fitted, focus_of
from lint3d.report.wording import count, file_text, measured_text, requirement_text

Floats = NDArray[np.float64]

SIZE = (1120, 700)
HEAD, GAP = 62, 10
MAIN = (740, SIZE[1] - HEAD - GAP)
#: More places than this are counted, not listed.
MOST_LISTED = 14


def overview(
    stage: Stage, uri: str, part: str, results: Sequence[Result], units: dict[str, str]
) -> Image.Image:
    """The picture of a part with the places of `results`, numbered in their order."""
    placed = [result for result in results if result.position is not None]
    view = _view(stage, placed)
    markings = [
        Marking(stage.rows_of(result.triangles), rgb(mark_of(result).colour))
        for result in reversed(placed)
        if result.kind in ("fail", "review", "open")
    ]
    panel = Sheet(Image.fromarray(_seen_through(stage, view, markings)))
    _numbers(panel, stage, view, placed)
    scale_bar(panel, view.pixel)
    image = Image.new("RGB", SIZE, WHITE)
    image.paste(panel.finished(), (GAP, HEAD))
    sheet = Sheet(image)
    sheet.text((GAP + 4, 8), cut_to(part, SIZE[0] - 40, 24, True), 24, bold=True)
    size = " × ".join(f"{x:.1f}" for x in np.ptp(stage.box, axis=0))
    about = f"{file_text(uri)}, {count(len(stage.faces), 'face')}, {size} mm"
    sheet.text((GAP + 4, 37), cut_to(about, SIZE[0] - 40, 15), 15, FAINT)
    _legend(sheet, placed, units)
    return sheet.finished()


def _seen_through(stage: Stage, view: View, markings: Sequence[Marking]) -> NDArray[np.uint8]:
    """The part; places inside it or behind it shine through."""
    image = traced(stage, view, MAIN, markings)
    marked = np.any([one.faces for one in markings], axis=0) if markings else np.zeros(0, bool)
    if not marked.any():
        return image
    alone = Stage(stage.vertices, stage.faces[marked], stage.body[marked])
    alone.box = stage.box
    colours = [Marking(one.faces[marked], one.colour) for one in markings]
    through = traced(alone, view, MAIN, colours).astype(float)
    there = (np.abs(through - PAPER).max(axis=2) > 1)[..., None]
    return np.where(there, 0.45 * image + 0.55 * through, image).round().astype(np.uint8)


def _view(stage: Stage, placed: Sequence[Result]) -> View:
    """From where most of the places are seen."""
    points = [focus_of(result, stage) for result in placed if result.kind in ("fail", "review")]
    normals = [_facing(result) for result in placed if result.kind in ("fail", "review")]
    if not points:
        points, normals = [stage.middle], [np.zeros(3)]
    eye, _ = best_eye(stage, np.array(points), np.array(normals))
    return fitted(eye, stage.box, MAIN, margin=0.16)


def _facing(result: Result) -> Floats:
    """Which way the worst face of a place looks; zeros if it has none."""
    if result.triangles is None or not len(result.triangles):
        return np.zeros(3)
    a, b, c = result.triangles[0]
    normal = np.cross(b - a, c - a)
    length = float(np.linalg.norm(normal))
    return normal / length if length > 0 else np.zeros(3)


def _numbers(panel: Sheet, stage: Stage, view: View, placed: Sequence[Result]) -> None:
    """A numbered flag at each place; its pole is dashed where the part hides the place."""
    taken: list[Floats] = []
    for number, result in enumerate(placed[:MOST_LISTED], 1):
        colour = rgb(mark_of(result).colour)
        point = focus_of(result, stage)
        at = view.projected(point, MAIN)[0]
        flag = _free_spot(at, taken)
        taken.append(flag)
        start = (point + view.eye * 2e-3 * stage.size)[None]
        hidden = stage.rays.first_facet(start, view.eye[None], 3 * stage.size)[0] >= 0
        panel.line([at, flag], colour, 1.6)
        panel.ring(at, 5, colour, 2, dashed=bool(hidden))
        text = str(number)
        wide = width_of(text, 15, True)
        panel.rectangle((flag[0] - 13, flag[1] - 13, flag[0] + 13, flag[1] + 13), WHITE, colour, 2)
        panel.text((flag[0] - wide / 2, flag[1] - 10), text, 15, colour, bold=True)


def _free_spot(at: Floats, taken: Sequence[Floats]) -> Floats:
    """A place for a flag near its spot, apart from the flags that are there."""
    low, high = np.array([18.0, 18.0]), np.array(MAIN) - 18.0
    for reach in (44, 66, 92, 124, 160):
        for turn in range(0, 360, 30):
            angle = np.radians(-60 + turn)
            spot = at + reach * np.array([np.cos(angle), np.sin(angle)])
            inside = (spot > low).all() and (spot < high).all()
            if inside and all(np.abs(spot - other).max() > 32 for other in taken):
                return spot
    return np.clip(at, low, high)


def _legend(sheet: Sheet, placed: Sequence[Result], units: dict[str, str]) -> None:
    left, top = GAP + MAIN[0] + 18, HEAD + 6
    room = SIZE[0] - left - 14
    if not placed:
        sheet.text((left, top), "Nothing to show: see the report.", 15, FAINT)
    for number, result in enumerate(placed[:MOST_LISTED], 1):
        mark = mark_of(result)
        sheet.text((left, top), str(number), 16, rgb(mark.colour), bold=True)
        sheet.mark((left + 36, top + 11), mark, 18)
        sheet.text((left + 52, top), cut_to(result.rule, room - 52, 15, True), 15, bold=True)
        said = measured_text(result, units.get(result.rule, "1"))
        asked = requirement_text(result.requirement)
        if asked not in ("–", "none"):
            said += f", required: {asked}"
        sheet.text((left + 52, top + 19), cut_to(said, room - 52, 14), 14, FAINT)
        top += 43
    if len(placed) > MOST_LISTED:
        sheet.text((left, top), f"and {len(placed) - MOST_LISTED} more", 15, FAINT)
