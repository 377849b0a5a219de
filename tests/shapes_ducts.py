"""Random parts with pockets and ducts whose narrowest places are known in closed form.

Each maker takes a random generator and the limit that it should come near to, and returns a `Case`.
Lengths in mm. Solids are made with manifold3d.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import shapes_voids as parts
from manifold3d import CrossSection, Manifold
from shapes_voids import ball, block, polygon_width, rod


@dataclass(frozen=True, eq=False)
class Case:
    """Bodies that are printed together, and what is true of their hollows."""

    bodies: tuple[Manifold, ...]
    throats: tuple[float, ...] = ()
    """mm, the largest ball that gets out of each pocket"""
    sealed: tuple[float, ...] = ()
    """mm3, volumes that nothing leads out of"""


Maker = Callable[[np.random.Generator, float], Case]
#: How far from the limit a throat is put, mm: nearer, and half of the time farther, than 0.05.
_NEAR, _FAR = 0.05, 0.9


def near(generator: np.random.Generator, limit: float) -> float:
    """A width close to a limit, and every other time farther away; never within 0.025 of it."""
    side = generator.choice([-1.0, 1.0])
    if generator.random() < 0.6:
        return float(limit + side * generator.uniform(0.026, _NEAR))
    return float(limit + side * generator.uniform(_NEAR, min(_FAR, 0.8 * limit)))


def _sides(generator: np.random.Generator) -> int:
    return int(generator.choice([6, 8, 12, 16, 24, 32, 48]))


def _pipe(generator: np.random.Generator, start: list[float], stop: list[float], width: float):  # type: ignore[no-untyped-def]
    """A regular prism that a ball of `width` just passes."""
    sides = _sides(generator)
    return rod(start, stop, width / polygon_width(1.0, sides), sides)


# --- sealed -------------------------------------------------------------------------------------


def sealed_ball(generator: np.random.Generator, limit: float) -> Case:
    radius = generator.uniform(0.5, 8.0)
    hollow = ball(radius, segments=int(generator.choice([16, 32, 64])))
    wall = generator.uniform(0.3, 3.0)
    return Case((block([2 * (radius + wall)] * 3) - hollow,), (), (hollow.volume(),))


def nested_shells(generator: np.random.Generator, limit: float) -> Case:
    radii = np.sort(generator.uniform(1.0, 9.0, 4))
    radii = radii + np.arange(4) * 0.8
    balls = [ball(float(r), segments=32) for r in radii]
    solid = block([2 * radii[3] + 4] * 3) - balls[3] + balls[2] - balls[1] + balls[0]
    volumes = [one.volume() for one in balls]
    return Case((solid,), (), (volumes[3] - volumes[2], volumes[1] - volumes[0]))


def body_in_pocket(generator: np.random.Generator, limit: float) -> Case:
    hollow = ball(6, segments=48)
    loose = ball(generator.uniform(1, 3), list(generator.uniform(-1, 1, 3)), 24)
    bodies = (block([16] * 3) - hollow, loose)
    return Case(bodies, (), (hollow.volume() - loose.volume(),))


def plugged(generator: np.random.Generator, limit: float) -> Case:
    """A bottle whose neck a second body shuts: it overlaps the wall of the neck."""
    radius, neck = 6.0, generator.uniform(1.6, 3.0)
    plug = rod([0, 0, 8], [0, 0, 12], neck + 1.0, 24)
    bottle = parts.bottle(radius, neck, 4)
    inside = (ball(radius) + rod([0, 0, 3], [0, 0, 8], neck, 32)).volume()
    return Case((bottle, plug), (), (inside,))


def flush_lid(generator: np.random.Generator, limit: float) -> Case:
    """A cup with a lid that lies on its rim, face on face."""
    depth, radius = generator.uniform(5, 14), generator.uniform(4, 9)
    cup = parts.cup(radius, depth, 2.0)
    lid = Manifold.cylinder(3, radius + 2, radius + 2, 64).translate([0, 0, depth + 2])
    return Case((cup, lid), (), (Manifold.cylinder(depth, radius, radius, 64).volume(),))


# --- one neck and many --------------------------------------------------------------------------


def one_neck(generator: np.random.Generator, limit: float) -> Case:
    width, radius = near(generator, limit), generator.uniform(3.0, 8.0)
    length = float(generator.choice([0.5, 1.5, 5.0, 20.0, 60.0]))
    top = radius + length
    solid = block([2 * radius + 4, 2 * radius + 4, 2 * top]) - ball(radius)
    return Case((solid - _pipe(generator, [0, 0, 0], [0, 0, top + 1], width),), (width,))


def two_necks(generator: np.random.Generator, limit: float) -> Case:
    wide = near(generator, limit)
    narrow = wide * generator.uniform(0.3, 0.95)
    solid = block([22] * 3) - ball(7) - _pipe(generator, [0, 0, 0], [0, 0, 12], wide)
    return Case((solid - _pipe(generator, [0, 0, 0], [12, 0, 0], narrow),), (wide,))


def in_series(generator: np.random.Generator, limit: float) -> Case:
    widths = [near(generator, limit) for _ in range(int(generator.integers(2, 5)))]
    radius, pitch = 4.5, 12.0
    length = pitch * len(widths)
    solid = block([length, 14, 14], [length / 2, 0, 0])
    for i, width in enumerate(widths):
        x = pitch * (i + 0.5)
        end = x + pitch if i + 1 < len(widths) else length + 1
        solid -= ball(radius, [x, 0, 0]) + _pipe(generator, [x, 0, 0], [end, 0, 0], width)
    return Case((solid,), tuple(min(widths[i:]) for i in range(len(widths))))


def in_parallel(generator: np.random.Generator, limit: float) -> Case:
    """One chamber, two others beside it that lead outside: the widest of the narrowest."""
    a, b, c, d = (near(generator, limit) for _ in range(4))
    solid = block([44, 16, 34], [0, 0, 6])
    for place in ([0, 0, 0], [-14, 0, 12], [14, 0, 12]):
        solid -= ball(5, place)
    solid -= _pipe(generator, [0, 0, 0], [-14, 0, 12], a)
    solid -= _pipe(generator, [0, 0, 0], [14, 0, 12], b)
    solid -= _pipe(generator, [-14, 0, 12], [-14, 0, 24], c)
    solid -= _pipe(generator, [14, 0, 12], [14, 0, 24], d)
    left, right = max(c, min(a, b, d)), max(d, min(a, b, c))
    return Case((solid,), (max(min(a, c), min(b, d)), left, right))


# --- ducts --------------------------------------------------------------------------------------


def bent(generator: np.random.Generator, limit: float) -> Case:
    """A chamber and a square duct round right-angled bends."""
    w = near(generator, limit)
    reach = generator.uniform(6, 12)
    solid = block([60, 40, 40], [15, 0, 0]) - ball(8)
    solid -= block([8 + reach, w, w], [(8 + reach) / 2, 0, 0])
    solid -= block([w, w, reach + w], [8 + reach, 0, reach / 2])
    solid -= block([60, w, w], [8 + reach + 30 - w / 2, 0, reach])
    return Case((solid,), (w,))


def forked(generator: np.random.Generator, limit: float) -> Case:
    """A stem that parts into two branches."""
    stem, one, two = near(generator, limit), near(generator, limit), near(generator, limit)
    solid = block([18, 40, 50], [0, 0, 16]) - ball(6)
    solid -= _pipe(generator, [0, 0, 0], [0, 0, 15], stem)
    # Both branches begin inside the stem and lean away from it.
    solid -= _pipe(generator, [0, 0, 14], [0, 22, 36], one)
    solid -= _pipe(generator, [0, 0, 14], [0, -22, 36], two)
    return Case((solid,), (min(stem, max(one, two)),))


def spiral(generator: np.random.Generator, limit: float) -> Case:
    """A chamber whose duct winds upward in straight pieces, with somewhat wider joints."""
    w = near(generator, limit)
    turns, radius = generator.uniform(1.0, 2.2), generator.uniform(7.5, 9.0)
    angle = np.arange(int(10 * turns)) * 2 * math.pi / 10
    rise = 2 + (w + 2.5) * angle / (2 * math.pi)
    line = np.column_stack([radius * np.cos(angle), radius * np.sin(angle), rise]).tolist()
    solid = block([34, 30, 44], [3, 0, 6]) - ball(5)
    for one, two in zip(line[:-1], line[1:], strict=True):
        solid -= _pipe(generator, one, two, w) + ball(0.58 * w, two, 24)
    solid -= rod([0, 0, 0], line[0], w + 1.0, 24) + ball(0.7 * w, line[0], 24)
    return Case((solid - rod(line[-1], [*line[-1][:2], 40.0], w + 1.0, 24),), (w,))


def labyrinth(generator: np.random.Generator, limit: float) -> Case:
    """A maze of square ducts, a tree; a chamber in one cell leads out through all of it."""
    w, count = near(generator, limit), 5
    step = w + 1.5
    size = step * (count - 1)
    solid = block([size + 12, size + 12, 12], [size / 2, size / 2, 0])
    seen, stack = {(0, 0)}, [(0, 0)]
    while stack:
        x, y = stack[-1]
        ahead = [(x + 1, y), (x - 1, y), (x, y + 1), (x, y - 1)]
        ahead = [c for c in ahead if c not in seen and min(c) >= 0 and max(c) < count]
        if not ahead:
            stack.pop()
            continue
        cell = ahead[int(generator.integers(len(ahead)))]
        middle = [step * (x + cell[0]) / 2, step * (y + cell[1]) / 2, 0]
        solid -= block([w + step * abs(x - cell[0]), w + step * abs(y - cell[1]), w], middle)
        seen.add(cell)
        stack.append(cell)
    solid -= block([12, w, w], [-6, 0, 0])
    # A shaft down from the far corner into a room below.
    solid += block([10, 10, 12], [size, size, -10])
    solid -= block([w, w, 12], [size, size, -6 + w / 2]) + block([6, 6, 6], [size, size, -11])
    return Case((solid,), (w,))


def serpentine(generator: np.random.Generator, limit: float) -> Case:
    """A long duct to and fro: alone it is no pocket."""
    w = near(generator, limit)
    return Case((parts.serpentine(w, int(generator.integers(4, 9)), 25.0),), ())


def serpentine_with_chamber(generator: np.random.Generator, limit: float) -> Case:
    w, runs = near(generator, limit), 2 * int(generator.integers(2, 4))
    y = (w + 1.5) * (runs - 1)
    solid = parts.serpentine(w, runs, 25.0) + block([16 + w, 14, 14], [-10 - w / 2, y, 0])
    solid -= ball(5, [-10 - w, y, 0]) + block([10 + w, w, w], [-5 - w / 2, y, 0])
    return Case((solid,), (w,))


def long_duct(generator: np.random.Generator, limit: float) -> Case:
    """A duct a hundred times longer than wide."""
    w = near(generator, limit)
    solid = block([100 * w + 16, 14, 14], [50 * w, 0, 0]) - ball(5)
    return Case((solid - _pipe(generator, [0, 0, 0], [110 * w + 20, 0, 0], w),), (w,))


# --- sections that are not round ----------------------------------------------------------------


def _drawn(section: CrossSection) -> Manifold:
    neck = parts.drawn(section, [0, 0, 0], [0, 0, 20])
    return block([22, 22, 30]) - ball(8) - neck


def slit(generator: np.random.Generator, limit: float) -> Case:
    w = near(generator, limit)
    return Case((_drawn(CrossSection.square([w, w * generator.uniform(1.0, 5.0)], True)),), (w,))


def plus(generator: np.random.Generator, limit: float) -> Case:
    w = near(generator, limit) / math.sqrt(2)
    long = w * generator.uniform(2.6, 4.5)
    section = CrossSection.square([w, long], True) + CrossSection.square([long, w], True)
    return Case((_drawn(section),), (w * math.sqrt(2),))


def triangle(generator: np.random.Generator, limit: float) -> Case:
    w = near(generator, limit)
    return Case((_drawn(parts.SECTIONS["triangle"](w)),), (w,))


def keyhole(generator: np.random.Generator, limit: float) -> Case:
    w = near(generator, limit)
    return Case((_drawn(parts.SECTIONS["keyhole"](w / polygon_width(1.0, 32))),), (w,))


def square_ring(generator: np.random.Generator, limit: float) -> Case:
    """A square pin in a square hole, the same gap all around: the corners are widest."""
    w = near(generator, limit)
    gap = w / (2 * math.sqrt(2) / (1 + math.sqrt(2)))
    side = generator.uniform(4, 7)
    solid = _drawn(CrossSection.square([side, side], True))
    pin = block([side - 2 * gap, side - 2 * gap, 40], [0, 0, 0]).trim_by_plane([0, 0, 1], -12)
    return Case((solid + pin,), (w,))


def ring_between_bodies(generator: np.random.Generator, limit: float) -> Case:
    """A pin in a blind barrel with a chamber at its end; the gap around the pin is the way out."""
    w = near(generator, limit)
    sides = int(generator.choice([32, 48, 64, 96]))
    pin = generator.uniform(1.5, 6.0)
    bore = pin + w / math.cos(math.pi / sides)
    # The chamber is wider than the gap all around.
    room = bore + 2 * w + 2
    barrel = rod([0, 0, -8], [0, 0, 16], 2 * room + 4, 64) - rod(
        [0, 0, -6], [0, 0, 2], 2 * room, 64
    )
    barrel -= rod([0, 0, 0], [0, 0, 17], 2 * bore, sides)
    return Case((barrel, rod([0, 0, -1], [0, 0, 18], 2 * pin, sides)), (w,))


def ring_in_one_body(generator: np.random.Generator, limit: float) -> Case:
    """The same gap, the pin held by a plate across the far end of the chamber."""
    two = ring_between_bodies(generator, limit)
    stem = rod([0, 0, -8], [0, 0, 0], 1.2, 24)
    return Case((two.bodies[0] + two.bodies[1] + stem,), two.throats)


# --- what is no pocket --------------------------------------------------------------------------


def open_shape(generator: np.random.Generator, limit: float) -> Case:
    """Cups, dishes, recesses, holes, brackets, counterbores."""
    solid = block([20, 20, 10])
    pick = int(generator.integers(7))
    a = float(generator.uniform(4, 9))
    shapes = [
        lambda: parts.cup(a, generator.uniform(3, 20), 2.0),
        lambda: solid - ball(a + 20, [0, 0, a + 23]),
        lambda: solid - block([a, 14, 5], [0, 0, 5]),
        lambda: solid - rod([0, 0, -9], [0, 0, 9], a, 24),
        lambda: block([20, 20, 20]) - block([a + 4, 30, 16], [0, 0, 4]),
        lambda: solid - rod([0, 0, -9], [0, 0, 9], a / 2, 24) - rod([0, 0, 1], [0, 0, 9], a, 24),
        lambda: parts.bowl(a + 2, 2.0),
    ]
    return Case((shapes[pick](),))


FAMILIES: dict[str, Maker] = {
    maker.__name__: maker
    for maker in (
        sealed_ball,
        nested_shells,
        body_in_pocket,
        plugged,
        flush_lid,
        one_neck,
        two_necks,
        in_series,
        in_parallel,
        bent,
        forked,
        spiral,
        labyrinth,
        serpentine,
        serpentine_with_chamber,
        long_duct,
        slit,
        plus,
        triangle,
        keyhole,
        square_ring,
        ring_between_bodies,
        ring_in_one_body,
        open_shape,
    )
}
