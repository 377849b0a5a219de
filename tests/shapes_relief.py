"""Which parts carry lettering or marks whose height is known by construction?

A part is a slab with raised or sunk outlines, bent over a base: flat, slanted, a cylinder, a
sphere, a saddle. The height above the base is a parameter of the construction, so that it is known
up to the facets (`slack` mm). Outlines come from a font (matplotlib's own DejaVu) or from bars of a
stated width (`bar_text`). Lengths mm. Nothing here knows how lint3d measures.

Sources: 2010 ADA Standards 703.3.1 (braille cell 2.3-2.5 mm, dots 1.5-1.6 mm across, 0.6-0.9 mm
high); ISO 3098 (strokes h/10 and h/14).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import manifold3d as m3
import numpy as np
from scipy.spatial.transform import Rotation
from shapes_walls import arrays

Outline = m3.CrossSection
Bend = Callable[[np.ndarray], np.ndarray]


@dataclass(frozen=True)
class ReliefCase:
    """A part and what is known of its relief.

    Attributes
    ----------
    height : mm, positive raised, negative sunk; 0 where the part has no relief
    slack : mm by which the facets may change that height
    islands : how many separate raised or sunk outlines there are (an i is two)
    characters : how many characters (an i is one)
    character_height : mm of the tallest character
    stroke : mm, width of every stroke where it is one number
    """

    name: str
    vertices: np.ndarray
    faces: np.ndarray
    height: float
    slack: float = 0.0
    islands: int = 0
    characters: int = 0
    character_height: float | None = None
    stroke: float | None = None
    more: dict[str, Any] = field(default_factory=dict)


def moved(case: ReliefCase, rng: np.random.Generator, offset: float = 50.0) -> ReliefCase:
    """The same part in a random frame, with its facets in random order."""
    turn = Rotation.random(random_state=int(rng.integers(2**31)))
    vertices = turn.apply(case.vertices) + rng.uniform(-offset, offset, 3)
    order = rng.permutation(len(case.faces))
    roll = rng.integers(3, size=len(order))[:, None]
    faces = np.take_along_axis(case.faces[order], (np.arange(3) + roll) % 3, 1)
    return replace(case, vertices=vertices, faces=faces)


def stored(case: ReliefCase) -> ReliefCase:
    """The same part as a binary STL would hold it: single precision."""
    vertices = case.vertices.astype(np.float32).astype(np.float64)
    return replace(case, vertices=vertices)


# --- outlines -----------------------------------------------------------------------------------


def font_text(text: str, size: float, font: str = "DejaVu Sans", bold: bool = False) -> Outline:
    """Outlines of a text whose capitals are `size` mm tall, its first letter at the origin."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    look = FontProperties(family=font, weight="bold" if bold else "normal")
    capital = np.vstack(TextPath((0, 0), "H", size=100, prop=look).to_polygons())
    scale = size / np.ptp(capital[:, 1])
    path = TextPath((0, 0), text, size=100, prop=look)
    rings = [np.asarray(ring)[:-1] * scale for ring in path.to_polygons()]
    return Outline(rings, m3.FillRule.NonZero).simplify(0.002 * size)


#: Strokes of letters on a grid of 4 by 6, as (from, to); every one is a straight bar.
_BARS: dict[str, list[tuple[tuple[float, float], tuple[float, float]]]] = {
    "A": [((0, 0), (2, 6)), ((4, 0), (2, 6)), ((0.8, 2.4), (3.2, 2.4))],
    "E": [((0, 0), (0, 6)), ((0, 0), (4, 0)), ((0, 3), (3, 3)), ((0, 6), (4, 6))],
    "F": [((0, 0), (0, 6)), ((0, 3), (3, 3)), ((0, 6), (4, 6))],
    "H": [((0, 0), (0, 6)), ((4, 0), (4, 6)), ((0, 3), (4, 3))],
    "I": [((2, 0), (2, 6))],
    "K": [((0, 0), (0, 6)), ((0, 2.4), (4, 6)), ((1.2, 3.5), (4, 0))],
    "L": [((0, 0), (0, 6)), ((0, 0), (4, 0))],
    "N": [((0, 0), (0, 6)), ((0, 6), (4, 0)), ((4, 0), (4, 6))],
    "O": [((0, 0), (0, 6)), ((4, 0), (4, 6)), ((0, 0), (4, 0)), ((0, 6), (4, 6))],
    "T": [((0, 6), (4, 6)), ((2, 0), (2, 6))],
    "V": [((0, 6), (2, 0)), ((4, 6), (2, 0))],
    "X": [((0, 0), (4, 6)), ((0, 6), (4, 0))],
    "Z": [((0, 6), (4, 6)), ((4, 6), (0, 0)), ((0, 0), (4, 0))],
}


def _bar(start: Sequence[float], end: Sequence[float], width: float) -> Outline:
    """A bar with square ends half a width beyond its end points."""
    a, b = np.asarray(start, float), np.asarray(end, float)
    along = (b - a) / np.linalg.norm(b - a) * width / 2
    side = np.array([-along[1], along[0]])
    return Outline(
        [np.array([a - along - side, b + along - side, b + along + side, a - along + side])]
    )


def bar_text(text: str, size: float, stroke: float) -> Outline:
    """Letters of bars that are all `stroke` mm wide; capitals `size` mm tall over all."""
    unit = (size - stroke) / 6
    letters = []
    for place, letter in enumerate(text):
        if letter == " ":
            continue
        shift = np.array([place * (4 * unit + 2.2 * stroke + 0.1 * size), 0.0]) + stroke / 2
        bars = [
            _bar(np.array(a) * unit + shift, np.array(b) * unit + shift, stroke)
            for a, b in _BARS[letter]
        ]
        letters.append(Outline.batch_boolean(bars, m3.OpType.Add))
    return Outline.batch_boolean(letters, m3.OpType.Add)


def arrow(length: float, width: float) -> Outline:
    """An arrow pointing along x."""
    head = width * 1.5
    return Outline(
        [
            np.array(
                [
                    [0, -width / 2],
                    [length - head, -width / 2],
                    [length - head, -head],
                    [length, 0],
                    [length - head, head],
                    [length - head, width / 2],
                    [0, width / 2],
                ]
            )
        ]
    )


def squares(count: int, side: float, rng: np.random.Generator) -> Outline:
    """A field of count × count squares, about half of them filled, like a two-dimensional code."""
    filled = rng.random((count, count)) < 0.5
    filled[0], filled[:, 0] = True, True
    cells = [
        Outline.square((side * 1.001, side * 1.001)).translate((i * side, j * side))
        for i, j in np.argwhere(filled)
    ]
    return Outline.batch_boolean(cells, m3.OpType.Add)


def centred(outline: Outline) -> Outline:
    """The outline with the middle of its box at the origin."""
    x0, y0, x1, y1 = outline.bounds()
    return outline.translate((-(x0 + x1) / 2, -(y0 + y1) / 2))


# --- from an outline to a body ------------------------------------------------------------------


def standing(
    outline: Outline,
    height: float,
    root: float,
    draft_deg: float = 0.0,
    fillet: float = 0.0,
    head: float = 0.0,
) -> m3.Manifold:
    """The outline as a body from z = −root to z = height.

    The top has the outline's own shape (less the rounding `head`). `draft_deg` lets the walls lean
    outward to the foot; `fillet` rounds the foot; `head` rounds the upper edge.
    """
    if draft_deg == fillet == head == 0:
        return outline.extrude(height + root).translate((0, 0, -root))
    # Many tests put the same letters on other bases, and hundreds of hulls take seconds to unite.
    loops = outline.to_polygons()
    key = (*(loop.tobytes() for loop in loops), height, root, draft_deg, fillet, head)
    if key not in _STANDING:
        _STANDING[key] = _rounded(outline, height, root, draft_deg, fillet, head)
    return _STANDING[key]


#: Bodies with leaning walls or rounded edges, made once each. (A manifold is never changed.)
_STANDING: dict[tuple[bytes | float, ...], m3.Manifold] = {}


def _rounded(
    outline: Outline, height: float, root: float, draft_deg: float, fillet: float, head: float
) -> m3.Manifold:
    """A body as `standing` returns, one hull for each convex piece of the outline and level."""
    lean = np.tan(np.radians(draft_deg))
    levels = {0.0, height}
    steps = np.linspace(0, 1, 6)
    if fillet:
        levels |= set(np.round(fillet * steps, 9))
    if head:
        levels |= set(np.round(height - head * (1 - np.sin(steps * np.pi / 2)), 9))
    core = outline.offset(-head, m3.JoinType.Round, circular_segments=16) if head else outline

    def grown(z: float) -> float:
        more = head + (height - z) * lean
        if fillet and z < fillet:
            more += fillet - np.sqrt(fillet**2 - (fillet - z) ** 2)
        if head and z > height - head:
            more -= head - np.sqrt(max(head**2 - (z - height + head) ** 2, 0.0))
        return float(more)

    order = sorted(levels)
    profile = [(-root, grown(0.0)), *[(z, grown(z)) for z in order]]
    disc = np.column_stack(
        [f(np.linspace(0, 2 * np.pi, 16, endpoint=False)) for f in (np.cos, np.sin)]
    )
    pieces = []
    for piece in _convex_pieces(core):
        for (z0, g0), (z1, g1) in zip(profile, profile[1:], strict=False):
            low = (piece[:, None] + g0 * disc).reshape(-1, 2) if g0 > 1e-9 else piece
            high = (piece[:, None] + g1 * disc).reshape(-1, 2) if g1 > 1e-9 else piece
            corners = np.vstack(
                [
                    np.column_stack([low, np.full(len(low), z0)]),
                    np.column_stack([high, np.full(len(high), z1)]),
                ]
            )
            pieces.append(m3.Manifold.hull_points(corners))
    # Hundreds of hulls leave slivers far below any tolerance of a file.
    return m3.Manifold.batch_boolean(pieces, m3.OpType.Add).simplify(1e-4)


def _convex_pieces(outline: Outline) -> list[np.ndarray]:
    """Convex polygons that make up an outline: triangles, put together while they stay convex.

    What grows out of two pieces that are one convex piece together grows out of that one.
    """
    mesh = outline.extrude(1.0).to_mesh64()
    points, rows = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
    polygons = [list(row) for row in rows[(points[rows][:, :, 2] > 0.5).all(axis=1)]]
    done = 0
    while done < len(polygons):
        one = polygons[done]
        merged = None
        for row in range(done + 1, len(polygons)):
            merged = _merged(one, polygons[row], points)
            if merged is not None:
                polygons[done] = merged
                del polygons[row]
                break
        if merged is None:
            done += 1
    return [points[one, :2] for one in polygons]


def _merged(one: list[int], other: list[int], points: np.ndarray) -> list[int] | None:
    """Two polygons with an edge in common as one; None: they have none, or are not convex so."""
    for place, (a, b) in enumerate(zip(one, [*one[1:], one[0]], strict=True)):
        if b in other and other[(other.index(b) + 1) % len(other)] == a:
            start = other.index(a)
            way = [*other[start + 1 :], *other[:start]]  # from behind a to b
            merged = [*one[: place + 1], *way[:-1], *one[place + 1 :]]
            corner = points[merged, :2]
            side = np.roll(corner, -1, axis=0) - corner
            turn = np.roll(side, -1, axis=0)
            across = side[:, 0] * turn[:, 1] - side[:, 1] * turn[:, 0]
            return merged if (across >= -1e-9).all() else None
    return None


def flat(points: np.ndarray) -> np.ndarray:
    """No bend at all."""
    return points


def bend_cylinder(radius: float) -> Bend:
    """z = 0 becomes a cylinder about the y axis' parallel at z = −radius; negative: a hollow."""

    def bend(points: np.ndarray) -> np.ndarray:
        angle = points[:, 0] / radius
        reach = radius + points[:, 2]
        return np.column_stack(
            [reach * np.sin(angle), points[:, 1], reach * np.cos(angle) - radius]
        )

    return bend


def bend_sphere(radius: float) -> Bend:
    """z = 0 becomes a sphere; straight ways through the origin keep their length."""

    def bend(points: np.ndarray) -> np.ndarray:
        far = np.hypot(points[:, 0], points[:, 1])
        angle = far / radius
        share = np.where(far > 1e-12, np.sin(angle) / np.maximum(far, 1e-12), 1 / radius)
        reach = radius + points[:, 2]
        return np.column_stack(
            [
                reach * share * points[:, 0],
                reach * share * points[:, 1],
                reach * np.cos(angle) - radius,
            ]
        )

    return bend


def bend_saddle(radius: float) -> Bend:
    """z = 0 becomes z = (x² − y²)/2R; heights are along its normal."""

    def bend(points: np.ndarray) -> np.ndarray:
        x, y, z = points.T
        normal = np.column_stack([-x / radius, y / radius, np.ones(len(x))])
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        return np.column_stack([x, y, (x**2 - y**2) / (2 * radius)]) + z[:, None] * normal

    return bend


BENDS: dict[str, Callable[[float], Bend]] = {
    "flat": lambda radius: flat,
    "cylinder": bend_cylinder,
    "sphere": bend_sphere,
    "saddle": bend_saddle,
}


def on_slab(
    outline: Outline,
    height: float,
    *,
    base: str = "flat",
    radius: float = 30.0,
    thick: float = 4.0,
    margin: float = 4.0,
    facet: float | None = None,
    draft_deg: float = 0.0,
    fillet: float = 0.0,
    head: float = 0.0,
    slanted_deg: float = 0.0,
    name: str = "",
    **known: Any,
) -> ReliefCase:
    """A slab with the outline raised (height > 0) or sunk (height < 0), bent over a base.

    `facet` is the longest edge before bending (None: as the construction leaves it; bent bases then
    get radius/15). `slanted_deg` gives the slab a wedge below, so that the base is not parallel to
    any other face.
    """
    x0, y0, x1, y1 = outline.bounds()
    wide, deep = x1 - x0 + 2 * margin, y1 - y0 + 2 * margin
    slab = m3.Manifold.cube((wide, deep, thick)).translate((x0 - margin, y0 - margin, -thick))
    if slanted_deg:
        foot = np.array(
            [[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0], [1, 0, 1], [1, 1, 1]], float
        ) * (wide, deep, wide * np.tan(np.radians(slanted_deg)))
        wedge = m3.Manifold.hull_points(
            foot * (1, 1, -1) + (x0 - margin, y0 - margin, -thick * 0.99)
        )
        slab = slab + wedge
    if height > 0:
        solid = slab + standing(outline, height, 0.5 * thick, draft_deg, fillet, head)
    else:
        tool = standing(outline, -height, 0.5, draft_deg, fillet, head)
        solid = slab - tool.mirror((0, 0, 1))
    if draft_deg or fillet or head:
        solid = solid.simplify(1e-3)
    if base != "flat" and facet is None:
        facet = radius / 15
    if facet is not None:
        solid = solid.refine_to_length(facet)
    solid = solid.warp_batch(BENDS[base](radius))
    vertices, faces = arrays(solid)
    slack = 0.0 if base == "flat" else (facet or 0.0) ** 2 / (4 * abs(radius))
    known.setdefault("character_height", y1 - y0)
    return ReliefCase(
        name or f"{base} {height:+.2f}",
        vertices,
        faces,
        height,
        slack,
        islands=known.pop("islands", len(outline.decompose())),
        **known,
    )


def lettered(
    text: str,
    height: float,
    size: float,
    *,
    font: str = "DejaVu Sans",
    bold: bool = False,
    **more: Any,
) -> ReliefCase:
    """A slab with a text from a font; see `on_slab`."""
    outline = centred(font_text(text, size, font, bold))
    return on_slab(
        outline,
        height,
        characters=len(text.replace(" ", "")),
        name=f"{text!r} {size:g} mm {height:+.2f} {more.get('base', 'flat')}",
        **more,
    )


def barred(text: str, height: float, size: float, stroke: float, **more: Any) -> ReliefCase:
    """A slab with letters of bars of one stroke; see `on_slab`."""
    outline = centred(bar_text(text, size, stroke))
    return on_slab(
        outline,
        height,
        characters=len(text.replace(" ", "")),
        stroke=stroke,
        name=f"bars {text!r} {size:g} mm stroke {stroke:g} {height:+.2f}",
        **more,
    )


# --- other marks --------------------------------------------------------------------------------

#: Dots of braille letters, numbered 1 2 3 down the left, 4 5 6 down the right.
BRAILLE = {
    "a": "1", "b": "12", "c": "14", "d": "145", "e": "15", "f": "124",
    "g": "1245", "h": "125", "i": "24", "j": "245", "k": "13", "l": "123",
    "m": "134", "n": "1345", "o": "135", "p": "1234", "q": "12345", "r": "1235",
    "s": "234", "t": "2345", "u": "136", "v": "1236", "w": "2456", "x": "1346",
    "y": "13456", "z": "1356",
}  # fmt: skip


def braille(
    text: str,
    *,
    across: float = 1.55,
    high: float = 0.75,
    spacing: float = 2.4,
    cell: float = 6.5,
    segments: int = 32,
    top: float = 0.0,
) -> ReliefCase:
    """Domes on a plate: caps of a sphere, `across` mm at the foot, `high` mm tall.

    Or pins with flat tops, whose diameter is that share of the foot's.
    """
    ball = (across**2 / 4 + high**2) / (2 * high)
    dome = (
        m3.Manifold.sphere(ball, segments)
        .rotate((0, 0, 180 / segments))
        .translate((0, 0, high - ball))
    )
    if top:
        wide = across / 2
        foot = m3.Manifold.cylinder(1.0, wide, wide, segments).translate((0, 0, -1.0))
        dome = foot + m3.Manifold.cylinder(high, wide, top * wide, segments)
    dots = [
        dome.translate(
            (place * cell + (int(n) - 1) // 3 * spacing, -((int(n) - 1) % 3) * spacing, 0)
        )
        for place, letter in enumerate(text)
        for n in BRAILLE[letter]
    ]
    long = (len(text) - 1) * cell + spacing
    plate = m3.Manifold.cube((long + 8, 2 * spacing + 8, 3)).translate((-4, -2 * spacing - 4, -3))
    above = m3.Manifold.cube((long + 8, 2 * spacing + 8, 3)).translate((-4, -2 * spacing - 4, 0))
    solid = plate + (m3.Manifold.batch_boolean(dots, m3.OpType.Add) ^ above)
    vertices, faces = arrays(solid)
    # A sphere of n segments is inscribed: its top is exact, its foot up to a sagitta too narrow.
    slack = (across / 2 if top else ball) * (1 - np.cos(np.pi / segments)) * 2
    return ReliefCase(
        f"braille {text!r}",
        vertices,
        faces,
        high,
        slack,
        islands=len(dots),
        characters=len(text),
        more={"across": across, "spacing": spacing, "dots": len(dots)},
    )


def braille_on_drum(
    text: str, radius: float, chord: float, rng: np.random.Generator, *, segments: int = 48
) -> ReliefCase:
    """Domes of many facets, turned at random, on a slab bent to chords of a cylinder."""
    across, high, spacing, cell = 1.65, 0.65, 2.1, 6.8
    ball = (across**2 / 4 + high**2) / (2 * high)
    tilt = np.linspace(np.arccos((ball - high) / ball), 0, segments // 6 + 1)
    profile = [(0, -0.4), (across / 2, -0.4)]
    profile += [(ball * np.sin(t), ball * np.cos(t) - (ball - high)) for t in tilt]
    dome = m3.CrossSection([np.array(profile)]).revolve(segments)
    at = np.array(
        [
            (place * cell + (int(n) - 1) // 3 * spacing, ((int(n) - 1) % 3) * spacing, 0.0)
            for place, letter in enumerate(text)
            for n in BRAILLE[letter]
        ]
    )
    long = (len(text) - 1) * cell + spacing
    at -= (long / 2, spacing, 0)
    bend = bend_cylinder(radius)
    slab = m3.Manifold.cube((long + 8, 2 * spacing + 8, 3)).translate(
        (-long / 2 - 4, -spacing - 4, -3)
    )
    solid = slab.refine_to_length(chord).warp_batch(bend)
    for foot, angle in zip(bend(at), at[:, 0] / radius, strict=True):
        turned = dome.rotate((0, 0, float(rng.uniform(0, 360))))
        solid += turned.rotate((0, float(np.degrees(angle)), 0)).translate(tuple(foot))
    vertices, faces = arrays(solid)
    slack = chord**2 / (4 * radius) + 0.002
    return ReliefCase("braille on a drum", vertices, faces, high, slack, islands=len(at))


def across_edge(text: str, height: float, size: float, angle_deg: float = 30.0) -> ReliefCase:
    """Lettering that runs over the edge between two faces of a roof."""
    outline = centred(font_text(text, size))
    x0, y0, x1, y1 = outline.bounds()
    half = angle_deg / 2

    def fold(points: np.ndarray) -> np.ndarray:
        side = np.sign(points[:, 0])
        x, z = np.abs(points[:, 0]), points[:, 2]
        c, s = np.cos(np.radians(half)), np.sin(np.radians(half))
        return np.column_stack([side * (x * c + z * s), points[:, 1], -x * s + z * c])

    slab = m3.Manifold.cube((x1 - x0 + 8, y1 - y0 + 8, 4)).translate((x0 - 4, y0 - 4, -4))
    solid = slab + outline.extrude(height + 2).translate((0, 0, -2))
    left = solid.trim_by_plane((-1, 0, 0), 0.0).warp_batch(fold)
    right = solid.trim_by_plane((1, 0, 0), 0.0).warp_batch(fold)
    # Unfolding opens a wedge above the edge; both halves leaned on their own normals fill it.
    vertices, faces = arrays(left + right)
    return ReliefCase(
        f"{text!r} over an edge of {angle_deg:g} deg",
        vertices,
        faces,
        height,
        islands=len(outline.decompose()),
        characters=len(text),
        character_height=y1 - y0,
    )


def _grown(
    name: str,
    outline: Outline,
    height: float,
    tool: m3.Manifold,
    body: Callable[[float], m3.Manifold],
) -> ReliefCase:
    """A body with what `tool` cuts out of its parallel body, added or taken away."""
    part = body(0.0)
    part = part + (tool ^ body(height)) if height > 0 else part - (tool - body(height))
    vertices, faces = arrays(part.simplify(1e-5))
    return ReliefCase(name, vertices, faces, height, islands=len(outline.decompose()))


def on_prism(
    outline: Outline, height: float, *, sides: int, radius: float, phase_deg: float = 0.0
) -> ReliefCase:
    """Letters round a bar of few faces: every facet of a cap is parallel to the face below it."""
    _, low, _, high = outline.bounds()
    long = high - low + 8
    corner = np.cos(np.pi / sides)

    def prism(more: float) -> m3.Manifold:
        reach = radius + more / corner
        body = m3.Manifold.cylinder(long, reach, reach, sides).rotate((0, 0, phase_deg))
        return body.rotate((90, 0, 0)).translate((0, long / 2, 0))

    bend = bend_cylinder(radius)
    tool = outline.extrude(0.5 * radius).translate((0, 0, -0.3 * radius))
    tool = tool.refine_to_length(radius / 20).warp_batch(lambda p: bend(p) + (0, 0, radius))
    return _grown(f"prism of {sides}", outline, height, tool, prism)


def flat_capped(
    outline: Outline, height: float, *, radius: float, sides: int, turn_deg: float = 0.0
) -> ReliefCase:
    """Straight prisms with caps in one plane, on a drum (or sunk into it) whose crown is below.

    `height` is that of the cap's plane above the crown, or the depth of the floor below the line of
    the drum that the outline reaches to. `more["lowest"]` is by Pythagoras what each island (as
    `decompose` orders them) stands above the drum where it is lowest.
    """
    outline = outline.rotate(turn_deg)
    x0, y0, x1, y1 = outline.bounds()
    long, far = y1 - y0 + 8, max(-x0, x1)
    sag = radius - np.sqrt(radius**2 - far**2)
    drum = m3.Manifold.cylinder(long, radius, radius, sides, True).rotate((90, 0, 0))
    drum = drum.translate((0, (y0 + y1) / 2, -radius))
    lowest = []
    for one in outline.decompose():
        low, _, high, _ = one.bounds()
        near = 0.0 if low < 0 < high else min(abs(low), abs(high))
        if height > 0:
            lowest.append(np.hypot(near, radius + height) - radius)
        else:
            lowest.append(radius - np.hypot(max(abs(low), abs(high)), radius - sag + height))
    if height > 0:
        body = drum + outline.extrude(height + sag + 1).translate((0, 0, -sag - 1))
    else:
        body = drum - outline.extrude(radius).translate((0, 0, height - sag))
    vertices, faces = arrays(body)
    slack = radius * (1 - np.cos(np.pi / sides))
    name = f"flat caps on a drum of {sides}"
    return ReliefCase(name, vertices, faces, height, slack, more={"lowest": np.array(lowest)})


def in_bore(
    outline: Outline, depth: float, *, sides: int, radius: float, fillet: float, head: float
) -> ReliefCase:
    """Letters with rounded edges sunk into a bore of few faces, to a depth below its cylinder."""
    _, low, _, high = outline.bounds()
    long, slack = high - low + 20, radius * (1 - np.cos(np.pi / sides))
    body = m3.Manifold.cylinder(long, radius + 3 * depth, circular_segments=sides)
    body -= m3.Manifold.cylinder(3 * long, radius, circular_segments=sides).translate((0, 0, -long))
    body = body.rotate((90, 0, 0)).translate((0, long / 2, 0))
    bend = bend_cylinder(-radius)
    tool = standing(outline, depth, 0.5 * depth + slack, 0, fillet, head).mirror((0, 0, 1))
    tool = tool.refine_to_length(np.pi * radius / sides)
    vertices, faces = arrays(body - tool.warp_batch(lambda p: bend(p) - (0, 0, radius)))
    islands = len(outline.decompose())
    return ReliefCase(f"bore of {sides}", vertices, faces, -depth, slack, islands=islands)


def on_roof(outline: Outline, height: float, angle_deg: float, turn_deg: float = 0.0) -> ReliefCase:
    """Letters over the edge of a roof (or, negative, of a valley), parallel to both its faces."""
    half = np.radians(angle_deg / 2)
    x0, y0, x1, y1 = outline.bounds()
    wide = np.hypot(x1 - x0, y1 - y0) + 8

    def roof(more: float) -> m3.Manifold:
        block = m3.Manifold.cube((wide, wide, 2 * wide), True)
        left, right = (
            block.trim_by_plane((-side * np.sin(half), 0, -np.cos(half)), -more)
            for side in (-1.0, 1.0)
        )
        body = left ^ right if angle_deg > 0 else left + right
        return body.rotate((0, 0, turn_deg))

    tool = outline.extrude(2 * wide).translate((0, 0, -0.8 * wide))
    return _grown(f"roof of {angle_deg:g} deg", outline, height, tool, roof)


def loose(text: str, height: float, size: float, gap: float = 0.0) -> ReliefCase:
    """Letters that only touch their plate: bodies of their own, `gap` mm above it."""
    outline = centred(font_text(text, size))
    x0, y0, x1, y1 = outline.bounds()
    plate = m3.Manifold.cube((x1 - x0 + 8, y1 - y0 + 8, 4)).translate((x0 - 4, y0 - 4, -4))
    pieces = [arrays(plate)] + [
        arrays(one.extrude(height).translate((0, 0, gap))) for one in outline.decompose()
    ]
    vertices, faces, start = [], [], 0
    for points, rows in pieces:
        vertices.append(points)
        faces.append(rows + start)
        start += len(points)
    return ReliefCase(
        f"loose {text!r}",
        np.vstack(vertices),
        np.vstack(faces),
        height,
        islands=len(outline.decompose()),
        characters=len(text.replace(" ", "")),
        character_height=y1 - y0,
        more={"gap": gap},
    )


def enclosed(
    text: str,
    depth: float,
    size: float,
    cover: float = 0.8,
    bend: Bend | None = None,
    facet: float = 0.5,
) -> ReliefCase:
    """Lettering as hollows inside a slab, left full of support on purpose as an inner label."""
    outline = centred(font_text(text, size))
    x0, y0, x1, y1 = outline.bounds()
    slab = m3.Manifold.cube((x1 - x0 + 8, y1 - y0 + 8, depth + 2 * cover))
    slab = slab.translate((x0 - 4, y0 - 4, -cover - depth))
    solid = slab - outline.extrude(depth).translate((0, 0, -depth))
    if bend is not None:
        solid = solid.refine_to_length(facet).warp_batch(bend)
    vertices, faces = arrays(solid)
    return ReliefCase(
        f"enclosed {text!r}",
        vertices,
        faces,
        -depth,
        islands=len(outline.decompose()),
        characters=len(text.replace(" ", "")),
        character_height=y1 - y0,
        more={"cover": cover},
    )


# --- making it dirty ----------------------------------------------------------------------------


def remeshed(case: ReliefCase, edge: float, noise: float, rng: np.random.Generator) -> ReliefCase:
    """The same shape with new triangles: cut to `edge`, shuffled within faces, with `noise` mm."""
    body = m3.Manifold(
        m3.Mesh64(
            np.ascontiguousarray(case.vertices), np.ascontiguousarray(case.faces.astype(np.uint64))
        )
    )
    vertices, faces = arrays(body.refine_to_length(edge))
    vertices = _shuffled(vertices, faces, 0.25 * edge, rng)
    vertices = vertices + rng.normal(0, noise, vertices.shape)
    return replace(
        case,
        name=f"{case.name}, remeshed",
        vertices=vertices,
        faces=faces,
        slack=case.slack + 3 * noise,
    )


def _shuffled(
    vertices: np.ndarray, faces: np.ndarray, reach: float, rng: np.random.Generator
) -> np.ndarray:
    """Move the vertices inside flat faces sideways, so that no grid is left."""
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(normal, axis=1)
    normal = normal / np.maximum(size, 1e-30)[:, None]
    mean = np.zeros_like(vertices)
    for k in range(3):
        np.add.at(mean, faces[:, k], normal * size[:, None])
    mean /= np.maximum(np.linalg.norm(mean, axis=1), 1e-30)[:, None]
    level = np.ones(len(vertices), bool)
    for k in range(3):
        np.logical_and.at(level, faces[:, k], (normal * mean[faces[:, k]]).sum(axis=1) > 1 - 1e-9)
    # Half the height of the smallest triangle at a vertex: it can then not turn over.
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    low = size / np.maximum(edges.max(axis=1), 1e-30)
    room = np.full(len(vertices), reach)
    for k in range(3):
        np.minimum.at(room, faces[:, k], 0.3 * low)
    push = rng.normal(size=vertices.shape)
    push -= (push * mean).sum(axis=1)[:, None] * mean
    push /= np.maximum(np.linalg.norm(push, axis=1), 1e-30)[:, None]
    return vertices + np.where(level, room * rng.random(len(vertices)), 0.0)[:, None] * push
