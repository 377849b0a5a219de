"""Which parts have a thickness or a gap that can be worked out by hand?

Every function returns a `WallCase`: plain arrays in a frame of their own, with the interval that
the tightest span must meet (a single number where the facets' own geometry gives it exactly) and
what else is known. Lengths mm. Sources: plane geometry, worked out beside each part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import manifold3d as m3
import numpy as np
import trimesh
from scipy.spatial.transform import Rotation

LOW, HIGH = 0.8, 1.25  # range of interest the parts are made for


@dataclass(frozen=True)
class WallCase:
    """A part and what is known of it.

    Attributes
    ----------
    truth : (lo, hi) mm of the tightest span, or None where there is none below `HIGH`
    regions : how many connected thin regions there are, or None where that is open
    knife : (angle in degrees) of its knife edges, or None
    """

    name: str
    vertices: np.ndarray
    faces: np.ndarray
    look: str
    truth: tuple[float, float] | None
    regions: int | None = None
    knife: float | None = None
    kind: str | None = None


def moved(case: WallCase, rng: np.random.Generator, offset: float = 30.0) -> WallCase:
    """The same part in a random frame, with its facets in random order."""
    turn = Rotation.random(random_state=int(rng.integers(2**31)))
    vertices = turn.apply(case.vertices) + rng.uniform(-offset, offset, 3)
    order = rng.permutation(len(case.faces))
    roll = rng.integers(3, size=len(order))[:, None]
    faces = np.take_along_axis(case.faces[order], (np.arange(3) + roll) % 3, 1)
    return replace(case, vertices=vertices, faces=faces)


# --- building blocks ----------------------------------------------------------------------------


def arrays(body: m3.Manifold) -> tuple[np.ndarray, np.ndarray]:
    """Vertices and faces of a manifold3d body, corners at one place joined."""
    mesh = body.to_mesh64()
    vertices, faces = np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts)
    unique, back = np.unique(vertices, axis=0, return_inverse=True)
    return unique, back.ravel()[faces].astype(np.int64)


def box(size: Any, at: Any = (0, 0, 0)) -> m3.Manifold:
    """A box with one corner at `at`."""
    return m3.Manifold.cube(tuple(map(float, size))).translate(tuple(map(float, at)))


def prism(outline: Any, height: float) -> m3.Manifold:
    """An outline (n, 2), anticlockwise, raised along z from 0."""
    section = m3.CrossSection([np.asarray(outline, dtype=np.float64).tolist()])
    return m3.Manifold.extrude(section, float(height))


def ngon(radius: float, count: int, turn: float = 0.0) -> np.ndarray:
    """Corners (n, 2) of an inscribed polygon; at turn 0 a flat faces +x."""
    angle = (np.arange(count) + 0.5) * 2 * np.pi / count + turn
    return np.stack([radius * np.cos(angle), radius * np.sin(angle)], axis=1)


def rod(radius: float, height: float, count: int, turn: float = 0.0) -> m3.Manifold:
    """An inscribed prism along z from 0."""
    return prism(ngon(radius, count, turn), height)


def bent_tube(path: np.ndarray, radius: float, count: int, closed: bool) -> tuple[Any, Any]:
    """Rings of `count` corners round a path (n, 3), joined; capped by fans unless closed."""
    step = np.roll(path, -1, 0) - np.roll(path, 1, 0)
    if not closed:
        step[0], step[-1] = path[1] - path[0], path[-1] - path[-2]
    step /= np.linalg.norm(step, axis=1)[:, None]
    side = np.cross(step, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side, axis=1)[:, None]
    up = np.cross(side, step)
    angle = (np.arange(count) + 0.5) * 2 * np.pi / count
    ring = side[:, None] * np.cos(angle)[None, :, None] + up[:, None] * np.sin(angle)[None, :, None]
    vertices = (path[:, None] + radius * ring).reshape(-1, 3)
    n, faces = len(path), []
    for i in range(n if closed else n - 1):
        for j in range(count):
            a, b = i * count + j, i * count + (j + 1) % count
            c, d = (i + 1) % n * count + j, (i + 1) % n * count + (j + 1) % count
            faces += [(a, b, c), (b, d, c)]
    if not closed:
        vertices = np.concatenate([vertices, path[[0, -1]]])
        for j in range(count):
            k = (j + 1) % count
            faces += [(n * count, k, j), (n * count + 1, (n - 1) * count + j, (n - 1) * count + k)]
    faces = np.array(faces)
    corner = vertices[faces]
    volume = np.einsum("ij,ij->i", corner[:, 0], np.cross(corner[:, 1], corner[:, 2])).sum()
    return vertices, faces if volume > 0 else faces[:, ::-1]


def gap_inside(outer: tuple[Any, Any], inner: tuple[Any, Any]) -> float:
    """Smallest distance between a convex body and one inside it.

    From a point inside a convex polyhedron the boundary is as far as its nearest facet plane;
    so the distance is the least of (plane offset - support of the inner body along its normal).
    """
    corner = outer[0][outer[1]]
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    offset = np.einsum("ij,ij->i", corner[:, 0], normal)
    return float((offset - (normal @ inner[0].T).max(1)).min())


def nested(name: str, outer: tuple[Any, Any], inner: tuple[Any, Any], look: str) -> WallCase:
    """A convex body with a convex void (inward), or a convex body loose in a void (outward)."""
    gap = gap_inside(outer, inner)
    parts = [(outer[0], outer[1]), (inner[0], inner[1][:, ::-1])]
    if look == "outward":
        # The void's wall is the inside of a thick box; the loose body faces outward.
        reach = 3 * np.abs(outer[0]).max()
        shell = arrays(box([2 * reach] * 3, [-reach] * 3))
        parts = [shell, (outer[0], outer[1][:, ::-1]), inner]
    vertices = np.concatenate([v for v, _ in parts])
    starts = np.cumsum([0] + [len(v) for v, _ in parts[:-1]])
    faces = np.concatenate([f + s for (_, f), s in zip(parts, starts, strict=True)])
    return WallCase(name, vertices, faces, look, (gap, gap))


# --- faulty parts -------------------------------------------------------------------------------


def thin_box(rng: np.random.Generator) -> WallCase:
    """A plate: its thickness."""
    t = rng.uniform(0.2, 1.2)
    v, f = arrays(box([rng.uniform(4, 60), rng.uniform(4, 60), t]))
    return WallCase("thin box", v, f, "inward", (t, t), 1, kind="wall")


def thin_box_cut_fine(rng: np.random.Generator) -> WallCase:
    """The same plate cut into small facets: still one region."""
    t = rng.uniform(0.2, 1.2)
    body = box([rng.uniform(4, 20), rng.uniform(4, 20), t]).refine_to_length(rng.uniform(0.4, 2))
    v, f = arrays(body)
    return WallCase("thin box, fine", v, f, "inward", (t, t), 1, kind="wall")


def tube(rng: np.random.Generator) -> WallCase:
    """Aligned inscribed N-gons: t cos(pi / N)."""
    n, r, t = int(rng.integers(6, 128)), rng.uniform(3, 15), rng.uniform(0.2, 1.2)
    h = rng.uniform(4, 40)
    v, f = arrays(rod(r + t, h, n) - rod(r, 3 * h, n).translate((0, 0, -h)))
    true = t * np.cos(np.pi / n)
    return WallCase("tube", v, f, "inward", (true, true), 1, kind="wall")


def tube_eccentric(rng: np.random.Generator) -> WallCase:
    """The bore set off towards a flat: (R - r) cos(pi / N) - e."""
    n, r, t = 2 * int(rng.integers(6, 64)), rng.uniform(4, 15), rng.uniform(0.5, 1.5)
    e = rng.uniform(0.3, 0.8) * t * 0.9
    h = rng.uniform(3, 30)
    bore = rod(r, 3 * h, n).translate((e, 0, -h))
    true = t * np.cos(np.pi / n) - e
    v, f = arrays(rod(r + t, h, n) - bore)
    return WallCase("tube, eccentric", v, f, "inward", (true, true), kind="wall")


def _ball(rng: np.random.Generator, radius: float) -> tuple[Any, Any]:
    ball = trimesh.creation.icosphere(subdivisions=int(rng.integers(1, 5)), radius=radius)
    turn = Rotation.random(random_state=int(rng.integers(2**31)))
    return turn.apply(ball.vertices), np.array(ball.faces)


def _nested_balls(rng: np.random.Generator, name: str, look: str) -> WallCase:
    while True:
        r = rng.uniform(3, 20)
        t = rng.uniform(0.3, 1.5)
        outer, inner = _ball(rng, r + t), _ball(rng, r)
        inner = (inner[0] + rng.normal(size=3) * 0.2 * t, inner[1])
        case = nested(name, outer, inner, look)
        if case.truth is not None and 0.1 < case.truth[0] < 1.2:
            return case


def balls_nested(rng: np.random.Generator) -> WallCase:
    """Eccentric spheres of unlike facets: nearest facet plane, see `gap_inside`."""
    return _nested_balls(rng, "nested spheres", "inward")


def ball_in_cage(rng: np.random.Generator) -> WallCase:
    """A loose ball in a spherical void."""
    return _nested_balls(rng, "ball in cage", "outward")


def pin_in_barrel(rng: np.random.Generator) -> WallCase:
    """A pin shut in a barrel with its axis set off: exact by `gap_inside`."""
    while True:
        n, r, t = int(rng.integers(8, 120)), rng.uniform(2, 12), rng.uniform(0.3, 1.4)
        h = rng.uniform(5, 30)
        outer = arrays(rod(r + t, h, n).translate((0, 0, -h / 2)))
        pin = rod(r, h - 6, int(rng.integers(8, 120)), rng.uniform(0, 1)) if h > 8 else None
        if pin is None:
            continue
        shift = rng.uniform(0, 0.5) * t
        inner = arrays(pin.translate((shift, 0, 3 - h / 2)))
        case = nested("pin in barrel", outer, inner, "outward")
        if case.truth is not None and 0.1 < case.truth[0] < 1.2:
            return case


def tapered_rib(rng: np.random.Generator) -> WallCase:
    """A rib drafted on both sides: its flat top of width w; the ball there is w / cos(a / 2)."""
    w, angle = rng.uniform(0.2, 1.1), np.radians(rng.uniform(1, 28))
    h = rng.uniform(2, 10)
    base = w + 2 * h * np.tan(angle / 2)
    outline = [(-base / 2, 0), (base / 2, 0), (w / 2, h), (-w / 2, h)]
    v, f = arrays(prism(outline, rng.uniform(4, 40)))
    return WallCase("tapered rib", v, f, "inward", (w, w / np.cos(angle / 2)), 1)


def wedge_one_side(rng: np.random.Generator) -> WallCase:
    """A lid that slopes over a flat bottom: its thin end."""
    t, angle = rng.uniform(0.2, 1.1), np.radians(rng.uniform(1, 14))
    length = rng.uniform(5, 20)
    outline = [(0, 0), (length, 0), (length, t + length * np.tan(angle)), (0, t)]
    v, f = arrays(prism(outline, rng.uniform(4, 40)))
    return WallCase("sloping lid", v, f, "inward", (t * np.cos(angle / 2), t), kind="wall")


def blind_hole(rng: np.random.Generator) -> WallCase:
    """A hole far smaller than the facets over its floor: the floor's thickness."""
    t, r, n = rng.uniform(0.2, 1.1), rng.uniform(0.8, 3), int(rng.integers(6, 48))
    size, h = rng.uniform(20, 120), rng.uniform(4, 15)
    x, y = rng.uniform(5, size - 5, 2)
    v, f = arrays(box([size, size, h]) - rod(r, h, n).translate((x, y, t)))
    return WallCase("blind hole", v, f, "inward", (t, t), 1, kind=None)


def drilled_hole(rng: np.random.Generator) -> WallCase:
    """A blind hole with a conical end of 90-150 degrees: from its tip to the far side."""
    t, r, n = rng.uniform(0.2, 1.1), rng.uniform(1, 3), int(rng.integers(8, 48))
    size, h = rng.uniform(20, 60), rng.uniform(8, 15)
    rise = r / np.tan(np.radians(rng.uniform(90, 150) / 2))
    x, y = rng.uniform(5, size - 5, 2)
    tip = m3.Manifold.cylinder(rise, 0.0, r, n).translate((x, y, t))
    shank = m3.Manifold.cylinder(h, r, r, n).translate((x, y, t + rise))
    v, f = arrays(box([size, size, h]) - (tip + shank))
    return WallCase("drilled hole", v, f, "inward", (t, t), 1)


def slot_floor(rng: np.random.Generator) -> WallCase:
    """A slot across a block: what it leaves below."""
    t, w, size, h = rng.uniform(0.2, 1.1), rng.uniform(1.5, 6), rng.uniform(15, 60), 8.0
    x = rng.uniform(3, size - 3 - w)
    v, f = arrays(box([size, size, h]) - box([w, 3 * size, h], [x, -size, t]))
    return WallCase("slot floor", v, f, "inward", (t, t), 1, kind="wall")


def v_groove(rng: np.random.Generator) -> WallCase:
    """A V-groove of 40-120 degrees: from its bottom to the far side."""
    t, half, h = rng.uniform(0.2, 1.1), np.radians(rng.uniform(20, 60)), rng.uniform(4, 8)
    size = rng.uniform(30, 60)
    w = (h - t) * np.tan(half)
    w, h = (w, h) if w < size / 2 - 3 else (size / 2 - 3, t + (size / 2 - 3) / np.tan(half))
    s = size / 2
    outline = [(-s, 0), (s, 0), (s, h), (w, h), (0, t), (-w, h), (-s, h)]
    v, f = arrays(prism(outline, rng.uniform(5, 40)))
    return WallCase("V groove", v, f, "inward", (t, t))


def grooves_crossed(rng: np.random.Generator) -> WallCase:
    """V-grooves from both sides that cross square, point against point: edge to edge."""
    t, half, h = rng.uniform(0.3, 1.1), np.radians(rng.uniform(35, 60)), 6.0
    size, depth = 40.0, (6.0 - t) / 2
    w = 1.5 * depth * np.tan(half)
    cut = prism([(-w, 1.5 * depth), (0, 0), (w, 1.5 * depth)], 3 * size)
    cut = cut.translate((0, 0, -1.5 * size))
    top = cut.rotate((90, 0, 0)).translate((0, 0, h - depth))
    low = cut.rotate((-90, 0, 90)).translate((0, 0, depth))
    v, f = arrays(box([size, size, h], [-size / 2, -size / 2, 0]) - top - low)
    return WallCase("crossed grooves", v, f, "inward", (t, t))


def bores_crossed(rng: np.random.Generator) -> WallCase:
    """Two bores that pass each other square in a block, flat against flat."""
    t, n = rng.uniform(0.3, 1.1), 4 * int(rng.integers(2, 14))
    r, q, size = rng.uniform(1.5, 4), rng.uniform(1.5, 4), 40.0
    low = rod(r, 2 * size, n).rotate((90, 0, 0)).translate((0, size, 0))
    top = rod(q, 2 * size, n).rotate((0, 90, 0)).translate((-size, 0, 0))
    top = top.translate((0, 0, (r + q) * np.cos(np.pi / n) + t))
    body = box([size, size, size], [-size / 2] * 3) - low - top
    v, f = arrays(body)
    return WallCase("crossed bores", v, f, "inward", (t, t))


def cavities_at_corners(rng: np.random.Generator) -> WallCase:
    """Two shut-in box voids, one above the other, that overlap by a corner only."""
    t, lap = rng.uniform(0.3, 1.1), rng.uniform(0.1, 0.8)
    low = box([8, 8, 4], [3, 3, 3])
    top = box([9, 9, 4], [11 - lap, 11 - lap, 7 + t])
    v, f = arrays(box([24, 24, 18]) - low - top)
    return WallCase("voids over a corner", v, f, "inward", (t, t), 1)


def thin_disc(rng: np.random.Generator) -> WallCase:
    """A disc of many long facets from hubs: its thickness."""
    t, r, n = rng.uniform(0.3, 1.1), rng.uniform(3, 20), int(rng.integers(12, 400))
    ring = ngon(r, n)
    low, top = np.column_stack([ring, np.zeros(n)]), np.column_stack([ring, np.full(n, t)])
    v = np.concatenate([low, top, [[0, 0, 0], [0, 0, t]]])
    i, j = np.arange(n), (np.arange(n) + 1) % n
    hub = np.full(n, 2 * n)
    f = np.concatenate(
        [
            np.stack([hub, j, i], 1),
            np.stack([hub + 1, i + n, j + n], 1),
            np.stack([i, j, j + n], 1),
            np.stack([i, j + n, i + n], 1),
        ]
    )
    return WallCase("thin disc", v, f, "inward", (t, t), 1, kind="wall")


def thin_pin(rng: np.random.Generator) -> WallCase:
    """A round pin on a block, an even number of flats: d cos(pi / N)."""
    d, n = rng.uniform(0.3, 1.15), 2 * int(rng.integers(4, 32))
    pin = rod(d / 2, rng.uniform(3, 12) + 5, n)
    v, f = arrays(box([20, 20, 5], [-10, -10, 0]) + pin)
    true = d * np.cos(np.pi / n)
    return WallCase("thin pin", v, f, "inward", (true, true), 1, kind="rod")


def ring_thin(rng: np.random.Generator) -> WallCase:
    """A torus: a rod bent round, between its facets' and its own diameter."""
    d, r, n = rng.uniform(0.4, 1.1), rng.uniform(4, 20), 2 * int(rng.integers(4, 16))
    m = int(rng.integers(24, 160))
    angle = np.arange(m) * 2 * np.pi / m
    path = np.stack([r * np.cos(angle), r * np.sin(angle), 0 * angle], 1)
    v, f = bent_tube(path, d / 2, n, True)
    low = d * np.cos(np.pi / n) * np.cos(np.pi / m) ** 2
    return WallCase("torus", v, f, "inward", (low, d), 1, kind="rod")


def coil(rng: np.random.Generator) -> WallCase:
    """A helix: the space between its turns."""
    wire, r, n, m = rng.uniform(1.5, 3), rng.uniform(4, 10), 2 * int(rng.integers(6, 16)), 96
    pitch = wire + rng.uniform(0.4, 1.1)
    turns = 3
    angle = np.arange(turns * m + 1) * 2 * np.pi / m
    line = np.stack([r * np.cos(angle), r * np.sin(angle), pitch * angle / (2 * np.pi)], 1)
    v, f = bent_tube(line, wire / 2, n, False)
    fine = np.linspace(0.7, 1.3, 200_001) * 2 * np.pi
    other = np.stack([r * np.cos(fine), r * np.sin(fine), pitch * fine / (2 * np.pi)], 1)
    apart = float(np.linalg.norm(other - [r, 0, 0], axis=1).min())
    sagitta = wire / 2 * (1 - np.cos(np.pi / n)) + (r + wire) * (1 - np.cos(np.pi / m))
    return WallCase("coil", v, f, "outward", (apart - wire - 1e-6, apart - wire + 2 * sagitta))


def through_hole(rng: np.random.Generator) -> WallCase:
    """A hole through a block, an even number of flats: d cos(pi / N)."""
    d, n, h = rng.uniform(0.3, 1.15), 2 * int(rng.integers(4, 32)), rng.uniform(3, 20)
    v, f = arrays(box([20, 20, h], [-10, -10, 0]) - rod(d / 2, 3 * h, n).translate((2, 3, -h)))
    true = d * np.cos(np.pi / n)
    return WallCase("through hole", v, f, "outward", (true, true), 1, kind="rod")


def slot_gap(rng: np.random.Generator) -> WallCase:
    """A slot: its width."""
    w, h = rng.uniform(0.2, 1.1), rng.uniform(4, 20)
    v, f = arrays(box([30, 20, h]) - box([w, 60, h], [11, -20, 3]))
    return WallCase("slot", v, f, "outward", (w, w), 1, kind="wall")


def ribs(rng: np.random.Generator) -> WallCase:
    """Several equal ribs on a base: as many regions."""
    t, count = rng.uniform(0.3, 1.1), int(rng.integers(2, 12))
    body = box([count * 4 + 4, 12, 4])
    for i in range(count):
        body += box([t, 8, 6], [3 + 4 * i, 2, 3])
    v, f = arrays(body)
    return WallCase("ribs", v, f, "inward", (t, t), count, kind="wall")


def blind_holes(rng: np.random.Generator) -> WallCase:
    """Blind holes over one large facet: as many regions."""
    t, count = rng.uniform(0.3, 1.1), int(rng.integers(2, 12))
    body = box([count * 6 + 5, 10, 6])
    for i in range(count):
        body -= rod(rng.uniform(0.8, 2), 9, 16).translate((5 + 6 * i, 5, t))
    v, f = arrays(body)
    return WallCase("blind holes", v, f, "inward", (t, t), count)


def wedge_sharp(rng: np.random.Generator) -> WallCase:
    """A wedge of 5-28 degrees: a knife edge, and no wall."""
    angle = rng.uniform(5, 28)
    half, h = np.radians(angle / 2), rng.uniform(8, 20)
    outline = [(0, 0), (h, -h * np.tan(half)), (h, h * np.tan(half))]
    body = prism(outline, rng.uniform(6, 30))
    if rng.random() < 0.5:
        body = body.refine_to_length(rng.uniform(1, 4))
    v, f = arrays(body)
    return WallCase("sharp wedge", v, f, "inward", None, 0, knife=angle)


# --- sound parts --------------------------------------------------------------------------------


def wedge_blunt(rng: np.random.Generator) -> WallCase:
    """A wedge of 40-60 degrees: an ordinary corner."""
    half, h = np.radians(rng.uniform(40, 60) / 2), rng.uniform(8, 20)
    body = prism([(0, 0), (h, -h * np.tan(half)), (h, h * np.tan(half))], rng.uniform(6, 30))
    if rng.random() < 0.5:
        body = body.refine_to_length(rng.uniform(1, 4))
    v, f = arrays(body)
    return WallCase("blunt wedge", v, f, "inward", None, 0)


def sound_block(rng: np.random.Generator) -> WallCase:
    """A block with chamfers or fillets of any size."""
    a, b, h = rng.uniform(5, 40, 3)
    c, n = rng.uniform(0.1, 2), int(rng.integers(1, 12))
    turn = np.linspace(0, np.pi / 2, n + 1)
    outline = [
        (cx + c * np.cos(k * np.pi / 2 + s), cy + c * np.sin(k * np.pi / 2 + s))
        for k, (cx, cy) in enumerate([(a - c, b - c), (c, b - c), (c, c), (a - c, c)])
        for s in turn
    ]
    v, f = arrays(prism(outline, h))
    return WallCase("rounded block", v, f, "inward", None, 0)


def sound_bracket(rng: np.random.Generator) -> WallCase:
    """An L with thick legs: an inner corner, looked at both ways."""
    t = rng.uniform(1.4, 4)
    body = box([20, 15, t]) + box([t, 15, 20])
    v, f = arrays(body)
    look = "inward" if rng.random() < 0.5 else "outward"
    return WallCase("bracket", v, f, look, None, 0)


def sound_ball(rng: np.random.Generator) -> WallCase:
    """A ball."""
    v, f = _ball(rng, rng.uniform(1, 20))
    return WallCase("ball", v, f, "inward", None, 0)


def sound_cone(rng: np.random.Generator) -> WallCase:
    """A cone with 45-90 degrees at its tip."""
    h = rng.uniform(4, 20)
    r = h * np.tan(np.radians(rng.uniform(45, 90) / 2))
    v, f = arrays(m3.Manifold.cylinder(h, r, 0.0, int(rng.integers(12, 100))))
    return WallCase("cone", v, f, "inward", None, 0)


def sound_tube(rng: np.random.Generator) -> WallCase:
    """A tube whose wall and bore are wide enough, looked at both ways."""
    n, r, t = int(rng.integers(12, 128)), rng.uniform(1, 15), rng.uniform(1.4, 4)
    h = rng.uniform(2, 40)
    v, f = arrays(rod(r + t, h, n) - rod(r, 3 * h, n).translate((0, 0, -h)))
    look = "inward" if rng.random() < 0.5 else "outward"
    return WallCase("sound tube", v, f, look, None, 0)


def sound_ring(rng: np.random.Generator) -> WallCase:
    """A torus that is thick enough, looked at both ways."""
    d, n, m = rng.uniform(1.6, 5), int(rng.integers(8, 32)), int(rng.integers(24, 160))
    r = d / 2 + rng.uniform(1, 15)
    angle = np.arange(m) * 2 * np.pi / m
    path = np.stack([r * np.cos(angle), r * np.sin(angle), 0 * angle], 1)
    v, f = bent_tube(path, d / 2, n, True)
    look = "inward" if rng.random() < 0.5 else "outward"
    return WallCase("sound torus", v, f, look, None, 0)


def sound_pocket(rng: np.random.Generator) -> WallCase:
    """A block with a wide pocket and thick walls, looked at both ways."""
    t = rng.uniform(1.4, 3)
    v, f = arrays(box([20, 16, 10]) - box([20 - 2 * t, 16 - 2 * t, 20], [t, t, t]))
    look = "inward" if rng.random() < 0.5 else "outward"
    return WallCase("pocket", v, f, look, None, 0)


FAULTY: tuple[Callable[[np.random.Generator], WallCase], ...] = (
    thin_box,
    thin_box_cut_fine,
    tube,
    tube_eccentric,
    balls_nested,
    ball_in_cage,
    pin_in_barrel,
    tapered_rib,
    wedge_one_side,
    blind_hole,
    drilled_hole,
    slot_floor,
    v_groove,
    grooves_crossed,
    bores_crossed,
    cavities_at_corners,
    thin_disc,
    thin_pin,
    ring_thin,
    coil,
    through_hole,
    slot_gap,
    ribs,
    blind_holes,
    wedge_sharp,
)
SOUND: tuple[Callable[[np.random.Generator], WallCase], ...] = (
    wedge_blunt,
    sound_block,
    sound_bracket,
    sound_ball,
    sound_cone,
    sound_tube,
    sound_ring,
    sound_pocket,
)
