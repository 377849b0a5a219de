"""Parts with hollows whose widths, volumes and ways out are known in closed form.

Solids are made with manifold3d, lengths in mm. Each maker returns a `Manifold`; `mesh` hands over
plain arrays in any rigid frame.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from manifold3d import CrossSection, Manifold


def mesh(solid: Manifold, frame: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Vertices (n, 3) mm and faces (m, 3) of a solid, turned and moved by a (3, 4) frame."""
    raw = solid.to_mesh64() if hasattr(solid, "to_mesh64") else solid.to_mesh()
    vertices = np.asarray(raw.vert_properties, np.float64)[:, :3]
    faces = np.asarray(raw.tri_verts, np.int64)
    if frame is not None:
        vertices = vertices @ frame[:, :3].T + frame[:, 3]
    return vertices, faces


def random_frame(seed: int, reach: float = 50.0) -> np.ndarray:
    """A (3, 4) rigid motion: a uniformly random rotation and a shift."""
    generator = np.random.default_rng(seed)
    q = generator.normal(size=4)
    w, x, y, z = q / np.linalg.norm(q)
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
    return np.column_stack([turn, generator.uniform(-reach, reach, 3)])


def polygon_width(diameter: float, segments: int) -> float:
    """The ball that passes a regular polygon of that corner diameter (even number of sides)."""
    return diameter * math.cos(math.pi / segments)


def block(size: Sequence[float], centre: Sequence[float] = (0.0, 0.0, 0.0)) -> Manifold:
    """A box about a centre."""
    return Manifold.cube(list(size), True).translate(list(centre))


def ball(radius: float, centre: Sequence[float] = (0.0, 0.0, 0.0), segments: int = 64) -> Manifold:
    """A faceted ball."""
    return Manifold.sphere(radius, segments).translate(list(centre))


def rod(
    start: Sequence[float], stop: Sequence[float], diameter: float, segments: int = 32
) -> Manifold:
    """A regular prism between two points, its corners on the given diameter."""
    start, stop = np.asarray(start, float), np.asarray(stop, float)
    length = float(np.linalg.norm(stop - start))
    return _along(Manifold.cylinder(length, diameter / 2, diameter / 2, segments), start, stop)


def drawn(section: CrossSection, start: Sequence[float], stop: Sequence[float]) -> Manifold:
    """A section drawn from one point to another."""
    start, stop = np.asarray(start, float), np.asarray(stop, float)
    return _along(section.extrude(float(np.linalg.norm(stop - start))), start, stop)


def _along(upright: Manifold, start: np.ndarray, stop: np.ndarray) -> Manifold:
    axis = (stop - start) / np.linalg.norm(stop - start)
    helper = np.eye(3)[int(np.argmin(np.abs(axis)))]
    side = np.cross(helper, axis)
    side /= np.linalg.norm(side)
    turn = np.column_stack([side, np.cross(axis, side), axis])
    return upright.transform(np.column_stack([turn, start]))


def duct(points: Sequence[Sequence[float]], diameter: float, segments: int = 16) -> Manifold:
    """A bent duct: the union of the hulls of balls at successive points."""
    balls = [ball(diameter / 2, point, segments) for point in points]
    solid = Manifold()
    for one, two in zip(balls[:-1], balls[1:], strict=True):
        solid += Manifold.batch_hull([one, two])
    return solid


def sealed_ball(radius: float = 6.0, wall: float = 2.0) -> Manifold:
    """A block with a ball-shaped cavity that nothing leads to."""
    return block([2 * (radius + wall)] * 3) - ball(radius)


def bottle(
    radius: float = 6.0, neck: float = 1.5, length: float = 4.0, segments: int = 32
) -> Manifold:
    """A ball in a block with one straight neck up to the top face.

    The neck's sides run parallel for `length` at least.
    """
    top = radius + length
    shell = block([2 * radius + 6, 2 * radius + 6, 2 * top])
    return shell - ball(radius) - rod([0, 0, radius * 0.5], [0, 0, top + 1], neck, segments)


def series(necks: Sequence[float], radius: float = 5.0, gap: float = 3.0) -> Manifold:
    """Chambers in a row; neck i leads from chamber i to the next, the last one to the outside."""
    pitch = 2 * radius + gap
    length = pitch * len(necks)
    solid = block([length, 2 * radius + 6, 2 * radius + 6], [length / 2, 0, 0])
    for i, neck in enumerate(necks):
        x = radius + gap / 2 + i * pitch
        end = x + pitch if i + 1 < len(necks) else length + 1
        solid -= ball(radius, [x, 0, 0])
        solid -= rod([x, 0, 0], [end, 0, 0], neck, 32)
    return solid


def serpentine(width: float = 2.0, runs: int = 6, length: float = 20.0) -> Manifold:
    """A duct of constant square width that turns to and fro, open at one end."""
    gap = width + 1.5
    solid = block(
        [length + 4 + width, gap * runs + 4, width + 4], [length / 2, gap * (runs - 1) / 2, 0]
    )
    for run in range(runs):
        y = run * gap
        solid -= block([length + width, width, width], [length / 2, y, 0])
        if run + 1 < runs:
            x = length if run % 2 == 0 else 0.0
            solid -= block([width, gap + width, width], [x, y + gap / 2, 0])
    return solid - block([10, width, width], [-5, 0, 0])


def cup(radius: float = 8.0, depth: float = 12.0, wall: float = 2.0) -> Manifold:
    """An open round cup."""
    outer = Manifold.cylinder(depth + wall, radius + wall, radius + wall, 64)
    return outer - Manifold.cylinder(depth + 1, radius, radius, 64).translate([0, 0, wall])


def cup_with_lid(gap: float) -> Manifold:
    """A lid that floats above a cup 10 mm high: one gap of the same width all round its rim."""
    below = block([16, 16, 10]) - block([11, 11, 10], [0, 0, 2.5])
    return Manifold.compose([below, block([16, 16, 2.5], [0, 0, 6.25 + gap])])


def bowl(radius: float = 10.0, wall: float = 2.0, segments: int = 96) -> Manifold:
    """A hemispherical bowl, its rim on z = 0."""
    outer = Manifold.sphere(radius + wall, segments) - Manifold.sphere(radius, segments)
    return outer.trim_by_plane([0, 0, -1], 0.0)


SECTIONS = {
    "slit": lambda w: CrossSection.square([w, 4 * w], True),
    "plus": lambda w: CrossSection.square([w, 4 * w], True) + CrossSection.square([4 * w, w], True),
    "triangle": lambda w: CrossSection([_regular(3, w)]),
    "keyhole": lambda w: (
        CrossSection.circle(w / 2, 32)
        + CrossSection.square([0.4 * w, 2 * w], True).translate([0.0, w])
    ),
}


def section_width(name: str, w: float) -> float:
    """The ball that passes a section of `SECTIONS`."""
    return {
        "slit": w,
        "plus": w * math.sqrt(2.0),
        "triangle": w,
        "keyhole": polygon_width(w, 32),
    }[name]


def _regular(sides: int, inscribed_diameter: float) -> np.ndarray:
    radius = inscribed_diameter / 2 / math.cos(math.pi / sides)
    angle = 2 * math.pi * np.arange(sides) / sides
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])
