"""Heights of reliefs with a rounding at the foot, of which the file keeps the bands of facets."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_relief as shapes
from shapes_walls import arrays

from lint3d.geometry.reliefs import find_reliefs
from lint3d.geometry.topology import edge_table


def _moulded(
    outline: m3.CrossSection, height: float, fillet: float, lean: float, head: float = 0.0
) -> m3.Manifold:
    """An outline as a body with roundings at foot and head, in bands of 18 degrees, and lean walls.

    Every corner of the outline is moved out by the same way, level by level: so the bands of all
    sides meet along the mitres, as a modeller leaves them.
    """
    angle = np.linspace(0, np.pi / 2, 6)
    level = [-0.5, *(fillet * (1 - np.cos(angle))), *(height - head * (1 - np.sin(angle)))]
    grown = [fillet - fillet * np.sin(a) for a in angle] + [head * (np.cos(a) - 1) for a in angle]
    grown = [g + (height - z) * lean for g, z in zip(grown, level[1:], strict=True)]
    if not head:
        level, grown = [*level[:7], height], [*grown[:6], 0.0]
    if not fillet:
        level, grown = [level[0], *level[6:]], grown[5:]
    loops = [np.asarray(loop) for loop in outline.to_polygons()]
    rings = [
        np.vstack([np.column_stack([_grown(loop, g), np.full(len(loop), z)]) for loop in loops])
        for z, g in zip(level, [grown[0], *grown], strict=True)
    ]
    count, cap = len(rings[0]), np.asarray(m3.triangulate(loops))
    faces, first = [cap[:, ::-1], cap + (len(rings) - 1) * count], 0
    for loop in loops:
        one = np.arange(first, first + len(loop))
        two = np.roll(one, -1)
        first += len(loop)
        for k in range(0, (len(rings) - 1) * count, count):
            faces.append(np.column_stack([one + k, two + k, two + k + count]))
            faces.append(np.column_stack([one + k, two + k + count, one + k + count]))
    mesh = m3.Mesh64(np.vstack(rings), np.vstack(faces).astype(np.uint64))
    return m3.Manifold(mesh)


def _grown(loop: np.ndarray, by: float) -> np.ndarray:
    """A loop with all its sides moved out."""
    side = np.roll(loop, -1, axis=0) - loop
    out = np.column_stack([side[:, 1], -side[:, 0]]) / np.linalg.norm(side, axis=1)[:, None]
    both = out + np.roll(out, 1, axis=0)
    grown: np.ndarray = loop + by * both / ((both**2).sum(axis=1) / 2)[:, None]
    return grown


@pytest.mark.parametrize(
    ("text", "size", "height", "fillet", "lean"),
    [("11/26", 33.5, 0.326, 0.065, 0.14), ("KOL:x", 12.2, 0.238, 0.095, 0.0)],
)
@pytest.mark.parametrize("sense", [1, -1])
@pytest.mark.cases(1)
def test_bands_of_a_rounding_at_the_foot_are_no_base(
    text: str, size: float, height: float, fillet: float, lean: float, sense: int
) -> None:
    """They have many corners and little area: the base was fitted through them, and letters 0.326
    mm high were told 0.268 to 0.309.
    """
    outline = shapes.centred(shapes.font_text(text, size))
    wide = 2 * outline.bounds()[2] + 0.6 * size
    plate = m3.Manifold.cube((wide, 1.8 * size, 4.0), True).translate((0, 0, -2.0))
    letters = _moulded(outline, height, fillet, lean)
    assert letters.volume() > 0
    part = plate + letters if sense > 0 else plate - letters.mirror((0, 0, 1))
    case = shapes.ReliefCase("moulded", *arrays(part), sense * height)
    case = shapes.stored(shapes.moved(case, np.random.default_rng(1)))
    table = edge_table(case.faces, len(case.vertices))
    found = find_reliefs(case.vertices, case.faces, table, 1e-5)
    (line,) = found.inscriptions
    assert len(line.shapes) == len(outline.decompose())
    for shape in line.shapes:
        assert shape.lower - 2e-5 <= height <= shape.upper + 2e-5
        assert shape.upper - shape.lower < 0.02 * height


def test_a_facet_of_a_coarse_ball_is_no_plane() -> None:
    """It has nearly all the area round a full stop: 0.33 mm were told as 0.375 to 0.386."""
    radius, facet, height = 106.0, 3.17, 0.33
    outline = shapes.centred(shapes.font_text("L.8", 37.3, font="DejaVu Serif"))
    plate = m3.Manifold.cube((2 * outline.bounds()[2] + 20, 60, 8), True).translate((0, 0, -4))
    part = plate + _moulded(outline, height, 0.07, 0.27)
    part = part.refine_to_length(facet).warp_batch(shapes.bend_sphere(radius))
    case = shapes.ReliefCase("ball", *arrays(part), height, facet**2 / (4 * radius))
    case = shapes.stored(shapes.moved(case, np.random.default_rng(1)))
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, 1e-5).inscriptions
    assert len(line.shapes) == 3
    for shape in line.shapes:
        assert shape.lower - case.slack <= height <= shape.upper + case.slack


def test_bands_of_a_rounding_at_the_head_are_no_cap() -> None:
    """A narrow one was taken to look as the cap beside it: half the interval was 1.6 % of 0.8."""
    height = 0.8
    outline = shapes.centred(shapes.font_text("11/26", 5.1))
    plate = m3.Manifold.cube((2 * outline.bounds()[2] + 4, 10, 4), True).translate((0, 0, -2))
    part = plate + _moulded(outline, height, 0.0, 0.0, 0.12)
    case = shapes.stored(shapes.ReliefCase("rounded", *arrays(part), height))
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, 1e-5).inscriptions
    for shape in line.shapes:
        assert shape.lower - 2e-5 <= height <= shape.upper + 2e-5
        assert shape.upper - shape.lower < 0.015 * height


def test_bands_of_a_rounding_are_no_base_in_a_bore_of_few_faces() -> None:
    """Strokes along its faces were told 4.39 to 4.48 mm deep for 5.4, and others to 5 %."""
    outline = shapes.bar_text("TL", 40.0, 5.0)
    _, _, end, _ = outline.bounds()
    bar = m3.CrossSection.square((45.0, 5.0)).translate((end + 6.0, 5.0))
    outline = shapes.centred(outline + bar + bar.translate((0, 12.0)))
    case = shapes.in_bore(outline, 5.4, sides=84, radius=228.0, fillet=1.07, head=1.09)
    case = shapes.stored(shapes.moved(case, np.random.default_rng(0)))
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, 1e-5).inscriptions
    assert len(line.shapes) == case.islands == 4
    for shape in line.shapes:
        assert shape.lower <= 5.4 + case.slack
        assert shape.upper >= 5.4 - case.slack
        assert shape.upper - shape.lower < 0.06 * 5.4


@pytest.mark.further
def test_bands_of_a_rounding_are_no_base_on_a_saddle_of_few_facets() -> None:
    """The I was told 0.378 to 0.389 mm high: its base ran through the top of its fillet."""
    height, size = 0.46314398048844224, 5.034605144276851
    outline = shapes.centred(shapes.bar_text("IEETOA", size, size / 14))
    case = shapes.on_slab(
        outline, height, base="saddle", radius=43.23949768692255, facet=2.88263317912817,
        thick=0.3 * size, margin=0.5 * size, fillet=0.2 * height, head=0.07192293063252644,
    )  # fmt: skip
    table = edge_table(case.faces, len(case.vertices))
    (line,) = find_reliefs(case.vertices, case.faces, table, 1e-5).inscriptions
    assert len(line.shapes) == 6
    for shape in line.shapes:
        assert shape.lower - 1e-5 <= height <= shape.upper + 1e-5
        assert shape.upper - shape.lower < 0.05 * height


@pytest.mark.parametrize("segments", [16, 32])
@pytest.mark.parametrize("high", [0.6, 0.775, 0.9])
def test_balls_of_few_facets_are_domes(high: float, segments: int) -> None:
    """Of 16 facets round all corners that look up lie on one ring, but for the top."""
    radius = 0.775 if high >= 0.775 else (0.775**2 + high**2) / (2 * high)
    ball = m3.Manifold.sphere(radius, segments).translate((0, 0, high - radius))
    post = m3.Manifold.cylinder(1 + max(high - radius, 0), radius, circular_segments=segments)
    dome = ball + post.translate((0, 0, -1)) if high > 0.775 else ball
    row = [dome.translate((2.4 * k, 0, 0)) for k in range(3)]
    body = m3.Manifold.cube((12, 6, 3)).translate((-3, -3, -3))
    case = shapes.ReliefCase("row", *arrays(body + sum(row, m3.Manifold())), height=high)
    case = shapes.moved(case, np.random.default_rng(segments))
    table = edge_table(case.faces, len(case.vertices))
    (dots,) = find_reliefs(case.vertices, case.faces, table, 1e-6).dots
    assert len(dots.shapes) == 3
    for shape in dots.shapes:
        assert shape.lower - 1e-4 <= high <= shape.upper + 1e-4
