"""What does a stage look like from a view? Rays, and light worked out with numpy.

No screen and no graphics card: each pixel asks the ray engine which face it sees, and four times
where its neighbour sees something else. A pixel that looks into the material from the plane
of a section sees the inside of a face first: there the cut is drawn, hatched as in a technical
drawing, the other way round on the second body.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.report.picture_stage import Bools, Stage
from lint3d.report.picture_view import View

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Image = NDArray[np.uint8]

PAPER = np.array([244.0, 246.0, 247.0])
#: Colours of the bodies, by number; the first is the one that a picture is about.
BODIES = np.array([[198.0, 205.0, 211.0], [214.0, 204.0, 184.0], [203.0, 209.0, 199.0]])
INSIDE = np.array([160.0, 152.0, 168.0])
LINE = np.array([58.0, 68.0, 78.0])
#: Edges sharper than this are drawn.
_CREASE = np.cos(np.radians(25))
#: Faces that are seen flatter than this (cosine) may be deeper by more than a step from one pixel
#: to the next.
_FLAT = 0.05
_SUBPIXELS = np.array([[-0.25, -0.25], [0.25, -0.25], [-0.25, 0.25], [0.25, 0.25]])


@dataclass(frozen=True, eq=False)
class Marking:
    """Faces in a colour of their own, striped so that the colour alone does not matter."""

    faces: Bools
    colour: tuple[int, int, int]


def traced(
    stage: Stage, view: View, size: tuple[int, int], markings: Sequence[Marking] = ()
) -> Image:
    """The picture of a stage.

    Parameters
    ----------
    size : width and height, in pixels

    Returns
    -------
    (height, width, 3) uint8
    """
    width, height = size
    columns, rows = np.meshgrid(np.arange(width) + 0.5, np.arange(height) + 0.5)
    pixels = np.column_stack([columns.ravel(), rows.ravel()])
    paint = Paint(stage, view, size, markings)
    face, depth, cut = paint.seen(pixels)
    colour = paint.colours(pixels, face, cut)
    grid = (height, width)
    line, uneven = _edges(stage, view, face.reshape(grid), depth.reshape(grid), cut.reshape(grid))
    again = np.flatnonzero(uneven.ravel())
    parts = []
    for shift in _SUBPIXELS:
        finer = pixels[again] + shift
        finer_face, _, finer_cut = paint.seen(finer)
        parts.append(paint.colours(finer, finer_face, finer_cut))
    if len(again):
        colour[again] = np.mean(parts, axis=0)
    strength = line.reshape(-1, 1)
    colour = colour * (1 - strength) + LINE * strength
    return colour.round().clip(0, 255).astype(np.uint8).reshape(height, width, 3)


class Paint:
    """What one view of one stage shows, pixel by pixel."""

    def __init__(
        self, stage: Stage, view: View, size: tuple[int, int], markings: Sequence[Marking]
    ) -> None:
        self.stage, self.view, self.size = stage, view, size
        self.axes = view.axes
        self.base = BODIES[stage.body % len(BODIES)]
        self.mark = np.zeros(len(stage.faces), np.int64)
        for number, marking in enumerate(markings, 1):
            self.mark[marking.faces] = number
        self.mark_colours = np.array([[0, 0, 0], *(one.colour for one in markings)], np.float64)
        key = self.axes.T @ np.array([-0.4, 0.6, 0.7])
        self.key = key / np.linalg.norm(key)
        self.shade = self._shade()
        corners = view.projected(stage.corners, size)
        # A pixel more on each side: rays are told in single precision.
        self.low, self.high = corners.min(axis=0) - 1, corners.max(axis=0) + 1

    def seen(self, pixels: Floats) -> tuple[Ints, Floats, Bools]:
        """Face, depth along the view (mm) and whether it is the cut, for each pixel."""
        face = np.full(len(pixels), -1, np.int64)
        depth = np.full(len(pixels), np.inf)
        cut = np.zeros(len(pixels), bool)
        near = np.flatnonzero(np.all((pixels >= self.low) & (pixels <= self.high), axis=1))
        face[near], depth[near], cut[near] = self._traced(pixels[near])
        return face, depth, cut

    def _traced(self, pixels: Floats) -> tuple[Ints, Floats, Bools]:
        view, stage = self.view, self.stage
        flat = (pixels - np.array(self.size) / 2) * [view.pixel, -view.pixel]
        start = view.centre + flat @ self.axes[:2]
        start = start + view.eye * ((stage.middle - start) @ view.eye + stage.size)[:, None]
        if view.plane is not None:
            ahead = (start - view.plane.point) @ view.plane.normal / (view.eye @ view.plane.normal)
            start = start - view.eye * ahead.clip(0)[:, None]
        away = np.broadcast_to(-view.eye, start.shape)
        face = stage.rays.first_facet(start, away, 3 * stage.size)
        along = -(stage.normals[face] @ view.eye)
        offset = np.einsum("ij,ij->i", stage.corners[face, 0] - start, stage.normals[face])
        safe = np.where(np.abs(along) > 1e-9, along, 1.0)
        depth = np.where(face >= 0, offset / safe, np.inf) - start @ view.eye
        cut = (face >= 0) & (along > 0) if view.plane is not None else np.zeros(len(face), bool)
        return face, depth, cut

    def colours(self, pixels: Floats, face: Ints, cut: Bools) -> Floats:
        """(k, 3) of each pixel, from 0 to 255."""
        colour = self.shade[face]
        colour[face < 0] = PAPER
        marked = (self.mark[face] > 0) & (face >= 0) & ~cut
        if marked.any():
            colour[marked] = self._striped(pixels[marked], face[marked])
        if cut.any():
            colour[cut] = self._hatched(pixels[cut], self.stage.body[face[cut]])
        return colour

    def _light(self) -> Floats:
        """(m,) how bright each face is, seen from its lit side."""
        normals = self.stage.normals
        facing = normals @ self.view.eye
        turned = normals * np.where(facing < 0, -1.0, 1.0)[:, None]
        return 0.5 + 0.36 * (turned @ self.key).clip(0) + 0.24 * np.abs(facing)

    def _shade(self) -> Floats:
        self.light = self._light()
        inside = (self.stage.normals @ self.view.eye) < 0
        base = np.where(inside[:, None], INSIDE, self.base)
        return (base * self.light[:, None]).clip(0, 255)

    def _striped(self, pixels: Floats, face: Ints) -> Floats:
        colour = self.mark_colours[self.mark[face]]
        light = (0.45 + 0.55 * self.light[face])[:, None].clip(0, 1.05)
        stripe = ((pixels @ [1, 1]) % 10 < 4)[:, None]
        return np.where(stripe, colour * light, (0.45 * colour + 0.55 * 255) * light)

    def _hatched(self, pixels: Floats, body: Ints) -> Floats:
        odd = body % 2 == 1
        across = np.where(odd, pixels @ [1, 1], pixels @ [1, -1])
        line = (across % 9 < 1.6)[:, None]
        base = BODIES[body % len(BODIES)] * 0.5 + 255 * 0.5
        return np.where(line, LINE * 0.55 + base * 0.45, base)


def _edges(stage: Stage, view: View, face: Ints, depth: Floats, cut: Bools) -> tuple[Floats, Bools]:
    """How strongly the line of an edge is drawn at each pixel, and where pixels are uneven."""
    line = np.zeros(face.shape)
    uneven = np.zeros(face.shape, bool)
    facing = np.abs(stage.normals @ view.eye)
    # Two pixels of one face are an edge only where it is seen so flat that its depth may jump.
    is_flat = np.append(facing < _FLAT, False)
    for step in (face.shape[1], 1):
        far, near = face.ravel()[step:], face.ravel()[:-step]
        pairs = (far != near) | (cut.ravel()[step:] != cut.ravel()[:-step]) | is_flat[near]
        if step == 1:
            pairs[face.shape[1] - 1 :: face.shape[1]] = False  # the next pixel is in the next row
        one = np.flatnonzero(pairs)
        _draw(stage, view, (face, depth, cut), facing, (one, one + step), line, uneven)
    return line, uneven


def _draw(
    stage: Stage,
    view: View,
    seen: tuple[Ints, Floats, Bools],
    facing: Floats,
    pair: tuple[Ints, Ints],
    line: Floats,
    uneven: Bools,
) -> None:
    """Draw the edges between pairs of neighbours, given by their numbers in the picture."""
    face_a, face_b = (seen[0].ravel()[one] for one in pair)
    depth_a, depth_b = (seen[1].ravel()[one] for one in pair)
    cut_a, cut_b = (seen[2].ravel()[one] for one in pair)
    differs = face_a != face_b
    outline = (face_a < 0) != (face_b < 0)
    both = (face_a >= 0) & (face_b >= 0)
    slope = 1.0 / np.minimum(facing[face_a], facing[face_b]).clip(0.05, 1.0)
    with np.errstate(invalid="ignore"):
        step = np.abs(depth_a - depth_b)
    jump = both & (step > 3 * view.pixel * slope)
    bent = np.einsum("ij,ij->i", stage.normals[face_a], stage.normals[face_b])
    crease = both & differs & (bent < _CREASE) & ~(cut_a & cut_b)
    strong = outline | (cut_a != cut_b) | jump & ~(cut_a & cut_b)
    drawn = np.where(strong, 0.8, np.where(crease, 0.5, 0.0)) * 0.75
    rough = strong | crease | (both & differs & (bent < 0.999)) | jump
    for one in pair:
        # A pixel is on one side of one pair only.
        line.ravel()[one] = np.maximum(line.ravel()[one], drawn)
        uneven.ravel()[one] |= rough
