"""How are marks, dimensions, scale bars and captions drawn on a picture?

Plain drawing over pixels with Pillow. Sizes in pixels. Every line on the part has a light seam, so
that it shows on any ground.
"""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from lint3d.report.cells import safe
from lint3d.report.marks import Mark, rgb

Floats = NDArray[np.float64]
Colour = tuple[int, int, int]
Spot = Sequence[float] | Floats

INK: Colour = (28, 36, 44)
FAINT: Colour = (92, 104, 115)
WHITE: Colour = (255, 255, 255)
#: Drawn so much larger and then reduced, so that slanting lines are smooth.
_FINE = 3


@cache
def font(size: int, bold: bool = False) -> ImageFont.FreeTypeFont:
    """The typeface of the pictures: the same on every machine."""
    name = "SourceSansPro-Semibold.ttf" if bold else "SourceSansPro-Regular.ttf"
    data = (files("font_source_sans_pro") / "files" / name).read_bytes()
    return ImageFont.truetype(io.BytesIO(data), size)


class Sheet:
    """An image to draw on.

    Parameters
    ----------
    image : drawn over, in place
    """

    def __init__(self, image: Image.Image) -> None:
        self.image = image
        self._fine = Image.new("RGBA", (image.width * _FINE, image.height * _FINE), (0, 0, 0, 0))
        self._lines = ImageDraw.Draw(self._fine)
        self._texts: list[tuple[Spot, str, ImageFont.FreeTypeFont, Colour]] = []

    def line(
        self, points: Sequence[Spot] | Floats, colour: Colour, width: float = 2, seam: float = 2
    ) -> None:
        """A line through points, with its seam."""
        path = [tuple(float(x) * _FINE for x in point) for point in points]
        if seam:
            self._stroke(path, WHITE, width + 2 * seam)
        self._stroke(path, colour, width)

    def _stroke(self, path: list[tuple[float, ...]], colour: Colour, width: float) -> None:
        flat = [x for point in path for x in point]
        self._lines.line(flat, (*colour, 255), round(width * _FINE), joint="curve")
        for x, y in path:
            self._disc((x, y), width * _FINE / 2, colour)

    def _disc(self, at: tuple[float, float], radius: float, colour: Colour) -> None:
        x, y = at
        self._lines.ellipse((x - radius, y - radius, x + radius, y + radius), (*colour, 255))

    def ring(
        self, at: Spot, radius: float, colour: Colour, width: float = 2.5, dashed: bool = False
    ) -> None:
        """A circle around a spot; dashed for what lies behind or inside."""
        step = 24 if dashed else 1
        for start in range(0, 360, 360 // step if dashed else 360):
            stop = start + (9 if dashed else 360)
            for tint, wide in ((WHITE, width + 3), (colour, width)):
                r = (radius + wide / 2) * _FINE
                x, y = float(at[0]) * _FINE, float(at[1]) * _FINE
                box = (x - r, y - r, x + r, y + r)
                self._lines.arc(box, start, stop, (*tint, 255), round(wide * _FINE))

    def arrow(self, tip: Spot, back: Spot, colour: Colour, length: float = 11) -> None:
        """A slim arrowhead at `tip`, pointing away from `back`."""
        end, step = np.asarray(tip, float), np.subtract(tip, back).astype(float)
        size = float(np.hypot(*step))
        if size == 0:
            return
        step /= size
        side = np.array([-step[1], step[0]])
        corners = [
            end,
            end - step * length + side * length / 3,
            end - step * length - side * length / 3,
        ]
        flat = [float(x) * _FINE for corner in corners for x in corner]
        self._lines.polygon(flat, (*colour, 255))

    def rectangle(
        self,
        box: Sequence[float],
        fill: Colour | None,
        outline: Colour | None = None,
        width: int = 1,
    ) -> None:
        """A rectangle (left, top, right, bottom)."""
        self._lines.rectangle(
            [x * _FINE for x in box],
            None if fill is None else (*fill, 255),
            None if outline is None else (*outline, 255),
            width * _FINE,
        )

    def text(
        self, at: Spot, text: str, size: int = 15, colour: Colour = INK, bold: bool = False
    ) -> float:
        """One line of text, its upper left corner at `at`; returns its width."""
        face = font(size, bold)
        shown = safe(text)
        self._texts.append((at, shown, face, colour))
        return face.getlength(shown)

    def mark(self, at: Spot, mark: Mark, size: float, colour: Colour | None = None) -> None:
        """The sign of a verdict, centred on a spot."""
        x, y, r = float(at[0]), float(at[1]), size / 2
        tint = colour or rgb(mark.colour)
        inner = WHITE
        if mark.shape == "ring":
            self.ring(at, r - 1.2, tint, 2.2)
            inner = tint
        elif mark.shape == "triangle":
            corners = [(x, y - r), (x + r, y + 0.8 * r), (x - r, y + 0.8 * r)]
            self._lines.polygon([c * _FINE for p in corners for c in p], (*tint, 255))
        elif mark.shape == "diamond":
            corners = [(x, y - r), (x + r, y), (x, y + r), (x - r, y)]
            self._lines.polygon([c * _FINE for p in corners for c in p], (*tint, 255))
        elif mark.shape == "square":
            self.rectangle((x - 0.85 * r, y - 0.85 * r, x + 0.85 * r, y + 0.85 * r), tint)
        else:
            self._disc((x * _FINE, y * _FINE), r * _FINE, tint)
        self._sign(mark.sign, x, y, r, inner)

    def _sign(self, sign: str, x: float, y: float, r: float, colour: Colour) -> None:
        width = max(1.5, r / 4.2)
        strokes = {
            "cross": [[(-0.4, -0.4), (0.4, 0.4)], [(-0.4, 0.4), (0.4, -0.4)]],
            "tick": [[(-0.42, 0.02), (-0.1, 0.36), (0.45, -0.34)]],
            "wave": [[(-0.42, 0.08), (-0.2, -0.12), (0.2, 0.12), (0.42, -0.08)]],
            "dash": [[(-0.4, 0.0), (0.4, 0.0)]],
            "dot": [[(0.0, 0.0), (0.0, 0.0)]],
            "i": [[(0.0, -0.1), (0.0, 0.45)], [(0.0, -0.45), (0.0, -0.44)]],
            "question": [
                [
                    (-0.2, -0.22),
                    (-0.1, -0.36),
                    (0.12, -0.36),
                    (0.22, -0.18),
                    (0.0, 0.08),
                    (0.0, 0.22),
                ],
                [(0.0, 0.52), (0.0, 0.53)],
            ],
        }[sign]
        for stroke in strokes:
            self.line([(x + a * r, y + b * r) for a, b in stroke], colour, width, seam=0)

    def finished(self) -> Image.Image:
        """The image with everything drawn."""
        drawn = self._fine.getbbox()
        if drawn is not None:
            left, top = drawn[0] // _FINE, drawn[1] // _FINE
            wide, high = -(-drawn[2] // _FINE) - left, -(-drawn[3] // _FINE) - top
            box = (left * _FINE, top * _FINE, (left + wide) * _FINE, (top + high) * _FINE)
            layer = self._fine.crop(box).resize((wide, high), Image.Resampling.BOX)
            self.image.paste(layer, (left, top), layer)
        pen = ImageDraw.Draw(self.image)
        for at, text, face, colour in self._texts:
            pen.text((float(at[0]), float(at[1])), text, colour, face)
        return self.image


def width_of(text: str, size: int, bold: bool = False) -> float:
    """Pixels that a line of text takes."""
    return float(font(size, bold).getlength(safe(text)))


def cut_to(text: str, room: float, size: int, bold: bool = False) -> str:
    """The text, with its end left out if it takes more than `room` pixels."""
    line = safe(" ".join(text.split()))
    if width_of(line, size, bold) <= room:
        return line
    short, long = 0, len(line)
    while short < long:
        middle = (short + long + 1) // 2
        if width_of(line[:middle].rstrip() + "…", size, bold) <= room:
            short = middle
        else:
            long = middle - 1
    return line[:short].rstrip() + "…"


def lines_of(text: str, room: float, size: int, most: int) -> list[str]:
    """The text broken into at most so many lines; the last is cut."""
    lines = [""]
    words = safe(" ".join(text.split())).split(" ")
    for number, word in enumerate(words):
        longer = f"{lines[-1]} {word}".strip()
        if width_of(longer, size) <= room or not lines[-1]:
            lines[-1] = longer
        elif len(lines) == most:
            lines[-1] = cut_to(" ".join([lines[-1], *words[number:]]), room, size)
            break
        else:
            lines.append(word)
    return [cut_to(line, room, size) for line in lines]


def round_length(about: float) -> float:
    """The largest of 1, 2, 5, 10, 20 … that is not above `about`.

    Examples
    --------
    >>> round_length(37.0), round_length(0.07)
    (20.0, 0.05)
    """
    power = 10.0 ** math.floor(math.log10(about))
    return float(next(f * power for f in (5.0, 2.0, 1.0) if f * power <= about * 1.000001))
