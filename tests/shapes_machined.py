"""Which machined, coiled and ventilated parts repeat one small shape many times, but spell nothing?

`MACHINED` maps names to builders: screw threads of several pitches and facets, gears, splines,
knurls, rings, springs, grids. None has lettering or a lone mark. Lengths mm; sizes chosen here.

Sources: basic profile of the ISO metric thread as in ISO 68-1 (60 degrees, height of the
fundamental triangle 0.866 pitch, flats of pitch/8 and pitch/4) and coarse pitches of ISO 261,
from memory; involute of a 20 degree rack, textbook geometry.
"""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
import shapes_sound as sound
from shapes_walls import arrays

M = m3.Manifold
Part = tuple[np.ndarray, np.ndarray]


def swept(section: np.ndarray, path: np.ndarray, out: np.ndarray, axis: np.ndarray) -> M:
    """A closed body: a polygon (k, 2) carried along a path.

    Parameters
    ----------
    section : (k, 2) mm, counter-clockwise: along `out`, along `axis`
    path, out, axis : (n, 3) where the section's origin and its two directions lie
    """
    rings = (
        path[:, None] + section[None, :, :1] * out[:, None] + section[None, :, 1:] * axis[:, None]
    )
    n, k = rings.shape[:2]
    here = np.arange((n - 1) * k).reshape(n - 1, k)
    side = np.roll(here, -1, axis=1)
    walls = np.stack(
        [np.stack([here, side, side + k], -1), np.stack([here, side + k, here + k], -1)]
    ).reshape(-1, 3)
    cap = np.asarray(m3.triangulate([section]), np.int64)
    faces = np.concatenate([walls, cap[:, ::-1], cap + (n - 1) * k]).astype(np.uint64)
    body = M(m3.Mesh64(np.ascontiguousarray(rings.reshape(-1, 3)), faces))
    if body.volume() < 0:
        body = M(m3.Mesh64(np.ascontiguousarray(rings.reshape(-1, 3)), faces[:, ::-1].copy()))
    assert body.status() == m3.Error.NoError
    return body


def _helix(radius: float, pitch: float, turns: float, steps: int) -> tuple[np.ndarray, ...]:
    angle = np.linspace(0, 2 * np.pi * turns, int(turns * steps) + 1)
    out = np.column_stack([np.cos(angle), np.sin(angle), np.zeros_like(angle)])
    path = radius * out + np.column_stack([0 * angle, 0 * angle, pitch * angle / (2 * np.pi)])
    return path, out, np.broadcast_to([0.0, 0.0, 1.0], path.shape)


def _ridge(pitch: float, inward: float) -> np.ndarray:
    """The metric profile, from a little inside the core out to the crest."""
    high = 5 / 8 * 0.866 * pitch
    wide = 0.375 * pitch  # half the width at the root
    return np.array([[-inward, -wide], [0, -wide], [high, -pitch / 16], [high, pitch / 16],
                     [0, wide], [-inward, wide]])  # fmt: skip


def screw(diameter: float, pitch: float, turns: int = 8, steps: int = 32) -> M:
    """A bolt's shank with a thread that starts and ends in the open."""
    core = diameter / 2 - 5 / 8 * 0.866 * pitch
    ridge = swept(_ridge(pitch, 0.15 * core), *_helix(core, pitch, turns, steps))
    shank = sound._rod(core, (turns + 2) * pitch, (0, 0, turns * pitch / 2), steps)
    return ridge + shank + sound._rod(diameter, 4, (0, 0, -pitch - 1.5), 6)


def nut(diameter: float, pitch: float, turns: int = 5, steps: int = 32) -> M:
    """A hexagon nut: the screw cut out of it."""
    tool = screw(diameter, pitch, turns + 2, steps)
    high = turns * pitch
    hexagon = sound._rod(diameter, high, (0, 0, (turns + 2) * pitch / 2), 6)
    return hexagon - tool


def spring(radius: float, wire: float, pitch: float, turns: float, sides: int, steps: int) -> M:
    """A coil spring of round wire."""
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    section = wire / 2 * np.column_stack([np.cos(angle), np.sin(angle)])
    return swept(section, *_helix(radius, pitch, turns, steps))


def involute(teeth: int, module: float, points: int = 5) -> m3.CrossSection:
    """A gear's outline with involute flanks; addendum 1, dedendum 1.25 modules."""
    pitch = module * teeth / 2
    base, tip, root = pitch * np.cos(np.radians(20)), pitch + module, pitch - 1.25 * module
    radius = np.linspace(max(base, root), tip, points)
    roll = np.sqrt(np.maximum((radius / base) ** 2 - 1, 0))
    flank = roll - np.arctan(roll)
    at_pitch = np.tan(np.radians(20)) - np.radians(20)
    half = np.pi / (2 * teeth) + at_pitch - flank
    one = [(root, -half[0] * 1.05)] if root < base else []
    one += list(zip(radius, -half, strict=True))
    one += [(r, -a) for r, a in reversed(one)]
    outline = [
        (r * np.cos(a + 2 * np.pi * k / teeth), r * np.sin(a + 2 * np.pi * k / teeth))
        for k in range(teeth)
        for r, a in one
    ]
    return m3.CrossSection([np.array(outline)])


def spur(teeth: int, module: float, wide: float) -> M:
    return involute(teeth, module).extrude(wide) - sound._rod(3, 99)


def helical(teeth: int, module: float, wide: float, twist: float, layers: int = 12) -> M:
    return involute(teeth, module).extrude(wide, layers, twist) - sound._rod(3, 99)


def herringbone(teeth: int, module: float) -> M:
    half = involute(teeth, module).extrude(6, 8, 14)
    return half + half.mirror((0, 0, 1)) - sound._rod(3, 99)


def worm(starts: int = 1) -> M:
    body = sound._rod(6, 40, (0, 0, 15), 48)
    for k in range(starts):
        ridge = swept(_ridge(4.0, 1.0), *_helix(6, 4.0 * starts, 6 / starts, 40))
        body = body + ridge.rotate((0, 0, 360 * k / starts))
    return body


def diamond_knob(count: int) -> M:
    """A knob with a knurl of diamonds that stand up from a plain ring."""
    diamond = sound._box(1.6, 1.6, 1.6).rotate((0, 0, 45)).rotate((0, 90, 0))
    row = [
        diamond.translate((12, 0, z)).rotate((0, 0, 360 * (k + half) / count))
        for k in range(count)
        for z, half in ((-3, 0), (0, 0.5), (3, 0))
    ]
    return sound._rod(12, 12, n=96) + sound._sum(row)


def square_grid(count: int, side: float, high: float) -> M:
    """Equal raised (or sunk) squares on a grid."""
    tile = sound._box(side, side, abs(high) + 1, (0, 0, 2 + high / 2 - np.sign(high) * 0.5))
    if high < 0:
        tile = sound._box(side, side, 2 * -high, (0, 0, 2))
    tiles = sound._sum(sound._grid(tile, count, count, 36 / count))
    return sound.plate() + tiles if high > 0 else sound.plate() - tiles


def grille(count: int) -> M:
    """A ventilation grille: long slots in a frame that stands up from a housing's wall."""
    slots = [sound._box(40, 1.5, 20, (0, (k - (count - 1) / 2) * 3, 0)) for k in range(count)]
    return sound.plate() + sound._box(46, 3 * count + 4, 2, (0, 0, 2.5)) - sound._sum(slots)


def fan_guard(rings: int) -> M:
    """Rings and spokes over a round opening."""
    body = sound.plate() - sound._rod(17, 20)
    for k in range(rings):
        r = 4 + 13 * k / rings
        body = body + (sound._rod(r + 0.8, 3) - sound._rod(r - 0.8, 9))
    return body + sound._sum(sound._around(sound._box(17.5, 1.6, 3, (8.7, 0, 0)), 6))


def o_ring() -> M:
    return m3.CrossSection.circle(1.3, 24).translate((12, 0)).revolve(72)


def ring_grooves(count: int) -> M:
    """Concentric grooves for o-rings in a face."""
    grooves = [
        sound._rod(6 + 4.5 * k, 1.8, (0, 0, 2)) - sound._rod(4 + 4.5 * k, 9) for k in range(count)
    ]
    return sound._rod(26, 4, n=96) - sound._sum(grooves)


def snap_ribs(count: int) -> M:
    """A lid's rim with low catch ribs round it."""
    rib = sound._box(0.8, 6, 1.2, (15, 0, 0))
    rim = sound._rod(15, 8, n=96) - sound._rod(13, 20, n=96)
    return rim + sound._sum(sound._around(rib, count)) - sound._rod(13, 20, n=96)


def radial_fins(count: int) -> M:
    fin = sound._box(12, 1.0, 20, (13, 0, 0))
    return sound._rod(8, 20) + sound._sum(sound._around(fin, count))


def louvres(count: int) -> M:
    blade = sound._box(40, 4, 1).rotate((35, 0, 0))
    frame = sound._box(48, 5 * count + 6, 5) - sound._box(40, 5 * count, 9)
    return frame + sound._sum(
        [blade.translate((0, 5 * k - 2.5 * count + 2.5, 0)) for k in range(count)]
    )


MACHINED: dict[str, Callable[[], M]] = {
    **{
        f"screw M{d:g} by {p:g}, {n} facets": (lambda d=d, p=p, n=n: screw(d, p, 8, n))
        for d, p, n in ((3, 0.5, 24), (6, 1, 24), (8, 1.25, 48), (12, 1.75, 16), (20, 2.5, 64))
    },
    "screw M30 by 3.5, 10 facets": lambda: screw(30, 3.5, 6, 10),
    "nut M8": lambda: nut(8, 1.25),
    "nut M20": lambda: nut(20, 2.5, 5, 48),
    **{
        f"twisted thread {p:g}, deep {t:g}": (lambda p=p, t=t: sound.thread(int(20 / p), p, 6, t))
        for p, t in ((1, 0.6), (1.25, 0.7), (2, 1.1), (3, 1.6))
    },
    "worm": worm,
    "worm of two starts": lambda: worm(2),
    **{f"spur gear {n} by {m:g}": (lambda n=n, m=m: spur(n, m, 8)) for n, m in ((14, 2), (40, 1))},
    "spur gear 24 by 0.5, thin": lambda: spur(24, 0.5, 1.5),
    **{
        f"helical gear of {n}, {a} degrees": (lambda n=n, a=a: helical(n, 1.5, 10, a))
        for n, a in ((18, 15), (24, 40))
    },
    "herringbone gear": lambda: herringbone(20, 1.5),
    "fine spline": lambda: spur(36, 0.4, 25),
    "diamond knurl": lambda: diamond_knob(24),
    "fine crossed knurl": lambda: sound.cross_knurled(36),
    **{
        f"{n * n} squares {s:g}, {h:g}": (lambda n=n, s=s, h=h: square_grid(n, s, h))
        for n, s, h in ((9, 2, 0.6), (12, 1.5, -0.6), (6, 4, 1.0), (15, 1.2, 0.4))
    },
    "grille": lambda: grille(9),
    "fan guard": lambda: fan_guard(4),
    "o-ring": o_ring,
    "o-ring grooves": lambda: ring_grooves(4),
    "snap ribs": lambda: snap_ribs(8),
    "radial fins": lambda: radial_fins(16),
    "louvres": lambda: louvres(6),
    "spring": lambda: spring(8, 1.6, 3.0, 6, 16, 48),
    "coarse spring": lambda: spring(10, 3.0, 5.0, 4, 6, 16),
    "tight spring": lambda: spring(5, 0.8, 1.0, 12, 12, 32),
}


def machined_part(name: str) -> Part:
    """Vertices and faces of one of `MACHINED`."""
    return arrays(MACHINED[name]().simplify(1e-6))
