"""What does the picture of one result show?

On the left the part with the place marked; on the right the place from near, cut open where a
dimension or a way through the part is to be seen; above, the verdict, measured against required;
below, where it is and how to mend it. Sizes in pixels, lengths in mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from lint3d.inspection import Result
from lint3d.report.marks import Mark, mark_of, rgb
from lint3d.report.picture_draw import FAINT, INK, WHITE, Sheet, cut_to, round_length, width_of
from lint3d.report.picture_stage import Stage
from lint3d.report.picture_trace import Marking, traced
from lint3d.report.picture_view import View, focus_of, narrowest, shot
from lint3d.report.wording import (
    file_text,
    measured_text,
    position_text,
    requirement_text,
    sentence,
)
from lint3d.requirement import number

Floats = NDArray[np.float64]

SIZE = (1120, 700)
HEAD, FOOT, GAP = 92, 58, 10
MAIN = (676, SIZE[1] - HEAD - FOOT)
NEAR = (SIZE[0] - MAIN[0] - 3 * GAP, MAIN[1])
#: The faces of the second body of a pair.
OTHER = (36, 84, 148)
_SHORTEST_ARROWS = 46


def result_picture(stage: Stage, result: Result, unit: str) -> Image.Image:
    """The picture of a result.

    Parameters
    ----------
    stage : the bodies it is about
    unit : UCUM code of the rule
    """
    views = shot(stage, result, MAIN, NEAR)
    mark = mark_of(result)
    markings = [
        Marking(stage.rows_of(result.triangles), rgb(mark.colour)),
        Marking(stage.rows_of(result.other_triangles), OTHER),
    ]
    image = Image.new("RGB", SIZE, WHITE)
    for left, view, size in ((GAP, views.main, MAIN), (2 * GAP + MAIN[0], views.near, NEAR)):
        panel = Image.fromarray(traced(stage, view, size, markings))
        image.paste(_drawn_over(panel, stage, view, result, unit, view is views.near), (left, HEAD))
    sheet = Sheet(image)
    _head(sheet, result, mark, unit)
    _foot(sheet, result)
    _panel_titles(sheet, views.main, views.near)
    return sheet.finished()


def _drawn_over(
    panel: Image.Image, stage: Stage, view: View, result: Result, unit: str, near: bool
) -> Image.Image:
    sheet = Sheet(panel)
    colour = rgb(mark_of(result).colour)
    _way(sheet, view, result)
    if near:
        dimension(sheet, view, stage, result, unit)
    else:
        at = view.projected(focus_of(result, stage), panel.size)[0]
        sheet.ring(at, 17, colour)
        sheet.ring(at, 1.5, colour)
    scale_bar(sheet, view.pixel)
    return sheet.finished()


def _way(sheet: Sheet, view: View, result: Result) -> None:
    """The way out as a line, an arrow at its end, its narrowest place ringed."""
    if len(result.path) < 2:
        return
    points = view.projected(np.array([step.position for step in result.path]), sheet.image.size)
    sheet.line(points, OTHER, 2.5)
    sheet.arrow(points[-1], points[-2], OTHER, 14)
    narrow = narrowest(result)
    if narrow is not None:
        at = view.projected(np.array(narrow[0]), sheet.image.size)[0]
        sheet.ring(at, max(narrow[1] / view.pixel / 2, 5), rgb(mark_of(result).colour))


def dimension_ends(result: Result, view: View) -> Floats | None:
    """(2, 3) mm, the ends of the dimension to draw; across the narrowest place of a way out."""
    if result.ends is not None:
        return np.array(result.ends)
    narrow = narrowest(result)
    if narrow is None:
        return None
    at, points = np.array(narrow[0]), np.array([step.position for step in result.path])
    row = int(np.argmin(np.linalg.norm(points - at, axis=1)))
    along = points[min(row + 1, len(points) - 1)] - points[max(row - 1, 0)]
    across = np.cross(along, view.eye)
    length = float(np.linalg.norm(across))
    if length < 1e-9:
        return None
    across *= narrow[1] / 2 / length
    return np.array([at - across, at + across])


def dimension(sheet: Sheet, view: View, stage: Stage, result: Result, unit: str) -> None:
    """The measured value against what is required, drawn where it was measured."""
    colour = rgb(mark_of(result).colour)
    ends = dimension_ends(result, view)
    size = sheet.image.size
    if ends is None:
        at = view.projected(focus_of(result, stage), size)[0]
        sheet.ring(at, 9, colour)
    else:
        one, two = view.projected(ends, size)
        _arrows(sheet, one, two)
        at = (one + two) / 2
    if result.measured is None or not is_quantity(result, unit):
        return
    lines = [measured_text(result, unit)]
    asked = requirement_text(result.requirement)
    if asked not in ("–", "none"):
        lines.append(f"required: {asked}")
    if result.ends is None and (narrow := narrowest(result)) and unit != "mm":
        lines.append(f"narrowest place: {number(narrow[1])} mm")
    _label(sheet, at, lines, colour)


def is_quantity(result: Result, unit: str) -> bool:
    """Is the value worth a label? A bare count without a limit is not."""
    return unit != "1" or bool(result.requirement and result.requirement.limits)


def _arrows(sheet: Sheet, one: Floats, two: Floats) -> None:
    """A dimension line; its arrows come from outside where there is no room between the ends."""
    length = float(np.hypot(*(two - one)))
    if length < 1e-6:
        sheet.ring(one, 9, INK)
        return
    along = (two - one) / length
    side = np.array([-along[1], along[0]])
    for end in (one, two):
        sheet.line([end - side * 9, end + side * 9], INK, 1.5)
    if length >= _SHORTEST_ARROWS:
        sheet.line([one, two], INK, 1.5)
        sheet.arrow(one, two, INK)
        sheet.arrow(two, one, INK)
        return
    sheet.line([one - along * 34, one], INK, 1.5)
    sheet.line([two, two + along * 34], INK, 1.5)
    sheet.line([one, two], INK, 1)
    sheet.arrow(one, one - along, INK)
    sheet.arrow(two, two + along, INK)


def _label(sheet: Sheet, at: Floats, lines: list[str], colour: tuple[int, int, int]) -> None:
    """A box with the figures beside what they belong to, tied to it by a line."""
    room = sheet.image.width - 24
    texts = [
        (cut_to(text, room - 20, 17 if not row else 14, not row), 17 if not row else 14, not row)
        for row, text in enumerate(lines)
    ]
    wide = max(width_of(*one) for one in texts) + 20
    high = 26 + 19 * (len(texts) - 1) + 8
    left = float(np.clip(at[0] + 26, 12, sheet.image.width - wide - 12))
    below = at[1] < sheet.image.height / 2
    top = float(np.clip(at[1] + (70 if below else -70 - high), 12, sheet.image.height - high - 46))
    sheet.line([at, (left + 12, top if below else top + high)], INK, 1.2)
    sheet.rectangle((left, top, left + wide, top + high), WHITE, colour, 2)
    line_top = top + 5
    for text, size, bold in texts:
        sheet.text((left + 10, line_top), text, size, INK, bold)
        line_top += 24 if bold else 19


def scale_bar(sheet: Sheet, pixel: float) -> None:
    """How long is a millimetre here?"""
    length = round_length(sheet.image.width * pixel / 4)
    wide = length / pixel
    left, bottom = 14, sheet.image.height - 16
    text = f"{number(length)} mm"
    sheet.rectangle(
        (left - 6, bottom - 28, left + max(wide, width_of(text, 14)) + 8, bottom + 8), WHITE
    )
    for start, stop, tint in ((0.0, 0.5, INK), (0.5, 1.0, FAINT)):
        sheet.rectangle((left + wide * start, bottom - 4, left + wide * stop, bottom), tint)
    sheet.text((left, bottom - 25), text, 14)


def _head(sheet: Sheet, result: Result, mark: Mark, unit: str) -> None:
    tint = rgb(mark.colour)
    sheet.mark((34, 36), mark, 34)
    left = 62.0
    left += sheet.text((left, 12), mark.word, 24, tint, bold=True) + 14
    room = SIZE[0] - left - 16
    sheet.text((left, 12), cut_to(result.rule, room, 24, True), 24, bold=True)
    figures = measured_text(result, unit)
    asked = requirement_text(result.requirement)
    said = ""
    if result.measured is not None and is_quantity(result, unit):
        said = f"Measured {figures}"
    if asked not in ("–", "none"):
        said += f"{'; r' if said else 'R'}equired: {asked}"
    sheet.text((62, 46), cut_to(said or sentence(result.message), SIZE[0] - 78, 18), 18)


def _foot(sheet: Sheet, result: Result) -> None:
    top = SIZE[1] - FOOT + 7
    where = [f"File '{file_text(result.uri)}'"]
    if result.body or result.part:
        where.append(f"body '{result.body or result.part}'")
    if result.position is not None:
        where.append(f"at {position_text(result.position)} mm")
    sheet.text((GAP + 4, top), cut_to(", ".join(where) + ".", SIZE[0] - 28, 15), 15, FAINT)
    said = sentence(result.message)
    if result.remedy:
        said += f" Remedy: {sentence(result.remedy)}"
    sheet.text((GAP + 4, top + 22), cut_to(said, SIZE[0] - 28, 15), 15)


def _panel_titles(sheet: Sheet, main: View, near: View) -> None:
    for left, view, text in ((GAP, main, "The part"), (2 * GAP + MAIN[0], near, "From near")):
        title = f"{text}, cut open" if view.plane is not None else text
        wide = width_of(title, 14) + 16
        sheet.rectangle((left, HEAD, left + wide, HEAD + 22), WHITE)
        sheet.text((left + 8, HEAD + 1), title, 14, FAINT)
