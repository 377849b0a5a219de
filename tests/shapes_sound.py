"""Which engineering parts have steps, holes and teeth, but no lettering?

`SOUND` maps names to builders of plain parts: bosses, ribs, flanges, chamfers, threads, gears,
splines, hinges, fins, grooves. None has lettering or a lone mark. Lengths mm; sizes chosen here.
"""

from __future__ import annotations

from collections.abc import Callable

import manifold3d as m3
import numpy as np
from shapes_walls import arrays

M = m3.Manifold
Part = tuple[np.ndarray, np.ndarray]


def _box(x: float, y: float, z: float, at: tuple[float, float, float] = (0, 0, 0)) -> M:
    return M.cube((x, y, z), True).translate(at)


def _rod(r: float, h: float, at: tuple[float, float, float] = (0, 0, 0), n: int = 48) -> M:
    return M.cylinder(h, r, r, n, True).translate(at)


def _sum(parts: list[M]) -> M:
    return M.batch_boolean(parts, m3.OpType.Add)


def _grid(body: M, nx: int, ny: int, step: float) -> list[M]:
    return [
        body.translate(((i - (nx - 1) / 2) * step, (j - (ny - 1) / 2) * step, 0))
        for i in range(nx)
        for j in range(ny)
    ]


def _around(body: M, count: int) -> list[M]:
    return [body.rotate((0, 0, 360 * k / count)) for k in range(count)]


def plate() -> M:
    return _box(60, 40, 4)


def bosses(count: int, radius: float, high: float) -> M:
    boss = _rod(radius, high + 1, (0, 0, 2 + high / 2 - 0.5))
    return plate() + _sum(_grid(boss, count, 2, 50 / count))


def drilled(count: int, radius: float) -> M:
    return plate() - _sum(_grid(_rod(radius, 10), count, count, 34 / count))


def blind(count: int, radius: float, deep: float) -> M:
    return plate() - _sum(_grid(_rod(radius, 2 * deep, (0, 0, 2)), count, 2, 50 / count))


def counterbored(count: int) -> M:
    tool = _rod(1.7, 10) + _rod(3.2, 3, (0, 0, 2))
    return plate() - _sum(_grid(tool, count, 2, 50 / count))


def countersunk(count: int) -> M:
    cone = M.cylinder(1.6, 1.6, 3.2, 48).translate((0, 0, 0.41))
    return plate() - _sum(_grid(_rod(1.6, 10) + cone, count, 2, 50 / count))


def ribbed(count: int, wide: float, high: float) -> M:
    rib = _box(wide, 36, high + 1, (0, 0, 2 + high / 2 - 0.5))
    return plate() + _sum(_grid(rib, count, 1, 52 / count))


def slotted(count: int, wide: float, deep: float) -> M:
    slot = _box(wide, 30, 2 * deep, (0, 0, 2))
    return plate() - _sum(_grid(slot, count, 1, 52 / count))


def crossed_ribs() -> M:
    ribs = [_box(1.2, 36, 4, (x, 0, 3)) for x in (-20, 0, 20)]
    ribs += [_box(56, 1.2, 4, (0, y, 3)) for y in (-12, 0, 12)]
    return plate() + _sum(ribs)


def pocketed(count: int) -> M:
    return plate() - _sum(
        _grid(_box(34 / count - 2, 34 / count - 2, 4, (0, 0, 2)), count, count, 34 / count)
    )


def flange(holes: int) -> M:
    body = _rod(30, 6) + _rod(15, 20, (0, 0, 10))
    return body - _rod(10, 60) - _sum(_around(_rod(2.5, 20, (23, 0, 0)), holes))


def raised_face_flange() -> M:
    return flange(6) + (_rod(18, 2, (0, 0, -3.6)) - _rod(10, 10))


def stepped_shaft() -> M:
    return _sum([_rod(10, 20, (0, 0, 10)), _rod(8, 20, (0, 0, 29)), _rod(5, 20, (0, 0, 48))])


def grooved_shaft(count: int, deep: float = 0.8) -> M:
    ring = _rod(12, 1.2) - _rod(8 - deep, 5)
    return _rod(8, 50) - _sum([ring.translate((0, 0, 6 * k - 15)) for k in range(count)])


def collared_shaft(count: int) -> M:
    return _rod(8, 50) + _sum([_rod(9.5, 2, (0, 0, 8 * k - 16)) for k in range(count)])


def keyway() -> M:
    return _rod(10, 60) - (_box(5, 20, 6, (0, 0, 10)).rotate((90, 0, 0)).translate((0, 0, 0)))


def gear(teeth: int, module: float = 2.0, wide: float = 8.0, bore: float = 4.0) -> M:
    """Trapezoidal teeth on a pitch circle; addendum 1, dedendum 1.25 modules (from memory)."""
    pitch = module * teeth / 2
    root, tip = pitch - 1.25 * module, pitch + module
    quarter = np.pi / teeth / 2
    points = []
    for k in range(teeth):
        middle = 2 * np.pi * k / teeth
        for angle, reach in (
            (-quarter * 1.5, root),
            (-quarter * 0.6, tip),
            (quarter * 0.6, tip),
            (quarter * 1.5, root),
        ):
            points.append((reach * np.cos(middle + angle), reach * np.sin(middle + angle)))
    body = m3.CrossSection([np.array(points)]).extrude(wide)
    return body - _rod(bore, 60)


def rack(teeth: int) -> M:
    tooth = m3.CrossSection([np.array([[-1.6, 0], [1.6, 0], [0.8, 3], [-0.8, 3]])]).extrude(8)
    body = m3.CrossSection.square((teeth * 4 + 4, 5)).translate((-2, -4.99)).extrude(8)
    return body + _sum([tooth.translate((4 * k + 2, 0, 0)) for k in range(teeth)])


def spline(teeth: int) -> M:
    return _rod(9, 30) + _sum(_around(_box(2, 2.2, 30, (9, 0, 0)), teeth))


def socket(teeth: int) -> M:
    return _rod(15, 12) - _rod(7, 30) - _sum(_around(_box(3, 1.6, 30, (7.5, 0, 0)), teeth))


def hexagon(across: float, hole: float) -> M:
    return _rod(across / np.sqrt(3), 6, n=6) - _rod(hole, 20)


def bolt() -> M:
    return _rod(7.5, 5, n=6) + _rod(4, 30, (0, 0, 17))


def thread(turns: int, pitch: float = 3.0, radius: float = 8.0, deep: float = 1.4) -> M:
    """A round thread: a section off the axis, twisted along it."""
    section = m3.CrossSection.circle(radius, 64).translate((deep / 2, 0))
    high = turns * pitch
    return section.extrude(high, turns * 24, 360.0 * turns) + _rod(radius + 4, 4, (0, 0, -1.9), 6)


def coil_grooved(starts: int) -> M:
    arms = [m3.CrossSection.square((26, 3), True).rotate(180 * k / starts) for k in range(starts)]
    section = m3.CrossSection.batch_boolean([*arms, m3.CrossSection.circle(10, 64)], m3.OpType.Add)
    return section.extrude(40, 60, 120)


def knurled(count: int, deep: float = 0.5) -> M:
    tooth = m3.CrossSection([np.array([[11.8, -0.7], [12.0 + deep, 0], [11.8, 0.7]])]).extrude(15)
    return _rod(12, 15, (0, 0, 7.5), 96) + _sum(_around(tooth, count))


def cross_knurled(count: int) -> M:
    cut = m3.CrossSection([np.array([[12.6, -0.6], [12.6, 0.6], [11.4, 0]])])
    ring = m3.CrossSection.batch_boolean(
        [cut.rotate(360 * k / count) for k in range(count)], m3.OpType.Add
    )
    body = _rod(12, 15, (0, 0, 7.5), 96)
    return body - ring.extrude(15, 30, 60) - ring.extrude(15, 30, -60)


def fins(count: int, gap: float = 2.0) -> M:
    base = _box(count * gap * 2, 40, 4)
    return base + _sum(
        [_box(1.2, 40, 16, ((k - (count - 1) / 2) * gap * 2, 0, 9)) for k in range(count)]
    )


def pin_fins(count: int) -> M:
    return plate() + _sum(_grid(_rod(1.0, 10, (0, 0, 6), 16), count, count, 36 / count))


def hinge(knuckles: int) -> M:
    long = knuckles * 8
    leaf = _box(long, 20, 3, (0, -13, -2.5))
    eyes = [
        _rod(4, 7.4).rotate((0, 90, 0)).translate((8 * k - long / 2 + 4, 0, 0))
        + _box(7.4, 5, 3, (8 * k - long / 2 + 4, -2.5, -2.5))
        for k in range(0, knuckles, 2)
    ]
    return (leaf + _sum(eyes)) - _rod(2, long + 9).rotate((0, 90, 0))


def clip() -> M:
    return (
        _box(20, 10, 3)
        + _box(2, 10, 16, (9, 0, 8))
        + _box(4, 10, 2, (8, 0, 15))
        + _rod(1, 10).rotate((90, 0, 0)).translate((-6, 0, 1.5))
    )


def snap_bumps(count: int) -> M:
    ball = M.sphere(2, 48).translate((0, 0, 1.2))
    return plate() + _sum(_grid(ball, count, 1, 50 / count))


def dimples(count: int) -> M:
    return plate() - _sum(_grid(M.sphere(3, 48).translate((0, 0, 4)), count, 1, 50 / count))


def chamfered(cut: float) -> M:
    body = _box(40, 30, 20)
    for sx in (-1, 1):
        for sy in (-1, 1):
            tool = _box(cut * 2, cut * 2, 60).rotate((0, 0, 45)).translate((sx * 20, sy * 15, 0))
            body = body - tool
    return body


def rounded(radius: float) -> M:
    corners = [
        M.sphere(radius, 48).translate((sx * 18, sy * 12, sz * 6))
        for sx in (-1, 1)
        for sy in (-1, 1)
        for sz in (-1, 1)
    ]
    return M.batch_hull(corners)


def bracket(gusset: bool) -> M:
    body = _box(40, 30, 3) + _box(3, 30, 30, (-18.5, 0, 13.5))
    if gusset:
        wedge = m3.CrossSection([np.array([[0, 0], [15, 0], [0, 15]])]).extrude(2)
        body = body + wedge.rotate((90, 0, 0)).translate((-17.5, 1, 1))
    return body - _rod(2, 20, (10, 8, 0)) - _rod(2, 20, (10, -8, 0))


def housing(studs: int) -> M:
    shell = _box(60, 40, 24) - _box(56, 36, 24, (0, 0, 2))
    stud = _rod(3, 12, (0, 0, -5)) - _rod(1.2, 9, (0, 0, -3))
    return shell + _sum(_grid(stud, studs, 2, 44 / studs))


def vented(count: int) -> M:
    shell = _box(60, 40, 24) - _box(56, 36, 24, (0, 0, 2))
    return shell - _sum([_box(2, 60, 12, ((k - (count - 1) / 2) * 5, 0, 0)) for k in range(count)])


def pulley() -> M:
    body = _rod(20, 12, n=96)
    groove = m3.CrossSection([np.array([[16, 0], [22, -4], [22, 4]])]).revolve(96)
    return body - groove - _rod(4, 40)


def wheel(spokes: int) -> M:
    rim = _rod(30, 8, n=96) - _rod(26, 20, n=96)
    return rim + _rod(7, 10) + _sum(_around(_box(22, 3, 5, (17, 0, 0)), spokes)) - _rod(3, 40)


def bellows(folds: int) -> M:
    points = [(0.0, 0.0)]
    for k in range(folds):
        points += [(12.0, 4.0 * k), (9.0, 4.0 * k + 2)]
    points += [(12.0, 4.0 * folds), (0.0, 4.0 * folds)]
    return m3.CrossSection([np.array(points)]).revolve(64)


def barbed_tube(barbs: int) -> M:
    cone = M.cylinder(3, 5, 3.8, 48)
    body = _rod(4, 30, (0, 0, 15)) + _sum(
        [cone.translate((0, 0, 12 + 4 * k)) for k in range(barbs)]
    )
    return body - _rod(2.5, 80)


def terraced(steps: int) -> M:
    return _sum([_box(60 - 6 * k, 40 - 6 * k, 2, (0, 0, 0.8 * k)) for k in range(steps)])


def dovetail() -> M:
    tool = m3.CrossSection([np.array([[-6, 0], [6, 0], [4, 4.1], [-4, 4.1]])]).extrude(80)
    return _box(40, 40, 12) - tool.rotate((90, 0, 0)).translate((0, 40, 2))


def t_slot() -> M:
    return _box(40, 40, 14) - _box(8, 80, 6, (0, 0, 5)) - _box(16, 80, 4, (0, 0, 1))


def honeycomb(count: int) -> M:
    cells = [
        _rod(2.3, 20, ((i + 0.5 * (j % 2)) * 5.2 - 20, j * 4.5 - 13, 0), 6)
        for i in range(count)
        for j in range(7)
    ]
    return plate() - _sum(cells)


def feet(high: float) -> M:
    return plate() + _sum(
        [_rod(4, high + 1, (x, y, -2 - high / 2 + 0.5)) for x in (-24, 24) for y in (-14, 14)]
    )


def o_ring_groove() -> M:
    return flange(8) - (_rod(20, 1.6, (0, 0, 3.4)) - _rod(17.5, 5, (0, 0, 3)))


def ball_joint() -> M:
    return M.sphere(8, 64) + _rod(4, 20, (0, 0, -14)) + _rod(10, 3, (0, 0, -24))


def manifold_block(ports: int) -> M:
    block = _box(60, 30, 30)
    port = _rod(3, 40, (0, 0, 10)) + _rod(5, 2, (0, 0, 15))
    return block - _sum(_grid(port, ports, 1, 54 / ports)) - _rod(4, 80).rotate((0, 90, 0))


SOUND: dict[str, Callable[[], M]] = {
    **{
        f"{n * 2} bosses r {r:g} h {h:g}": (lambda n=n, r=r, h=h: bosses(n, r, h))
        for n, r, h in ((2, 4, 5), (4, 2, 2), (6, 2, 1), (5, 3, 0.8))
    },
    **{f"{n * n} through holes": (lambda n=n: drilled(n, 1.5)) for n in (2, 3, 4)},
    **{
        f"{2 * n} blind holes {d:g} deep": (lambda n=n, d=d: blind(n, 2, d))
        for n, d in ((3, 2), (5, 1), (2, 0.6))
    },
    "counterbores": lambda: counterbored(4),
    "countersinks": lambda: countersunk(4),
    **{
        f"{n} ribs {w:g} by {h:g}": (lambda n=n, w=w, h=h: ribbed(n, w, h))
        for n, w, h in ((3, 2, 6), (6, 1.5, 2), (9, 1, 1), (5, 2, 0.8))
    },
    **{
        f"{n} slots {w:g} by {d:g}": (lambda n=n, w=w, d=d: slotted(n, w, d))
        for n, w, d in ((4, 2, 2), (7, 1.5, 1), (5, 3, 0.8))
    },
    "crossed ribs": crossed_ribs,
    "4 pockets": lambda: pocketed(2),
    "9 pockets": lambda: pocketed(3),
    "flange with 4 holes": lambda: flange(4),
    "flange with 12 holes": lambda: flange(12),
    "flange with a raised face": raised_face_flange,
    "stepped shaft": stepped_shaft,
    "shaft with 5 grooves": lambda: grooved_shaft(5),
    "shaft with shallow grooves": lambda: grooved_shaft(3, 0.4),
    "shaft with collars": lambda: collared_shaft(4),
    "keyway": keyway,
    **{f"gear of {n} teeth": (lambda n=n: gear(n)) for n in (12, 20, 36)},
    "rack": lambda: rack(10),
    "spline of 8": lambda: spline(8),
    "spline of 16": lambda: spline(16),
    "splined socket": lambda: socket(6),
    "hexagon nut": lambda: hexagon(13, 4),
    "bolt": bolt,
    "thread": lambda: thread(6),
    "fine thread": lambda: thread(12, 1.5, 8, 0.8),
    "twisted grooves": lambda: coil_grooved(3),
    "knurl of 40": lambda: knurled(40),
    "knurl of 24": lambda: knurled(24, 1.0),
    "crossed knurl": lambda: cross_knurled(20),
    "cooling fins": lambda: fins(8),
    "16 pin fins": lambda: pin_fins(4),
    "49 pin fins": lambda: pin_fins(7),
    "hinge": lambda: hinge(5),
    "clip": clip,
    "snap bumps": lambda: snap_bumps(5),
    "dimples": lambda: dimples(5),
    "chamfer 1": lambda: chamfered(1),
    "chamfer 4": lambda: chamfered(4),
    "rounded box": lambda: rounded(3),
    "bracket": lambda: bracket(False),
    "bracket with gusset": lambda: bracket(True),
    "housing with studs": lambda: housing(3),
    "vented housing": lambda: vented(9),
    "pulley": pulley,
    "wheel with 5 spokes": lambda: wheel(5),
    "bellows": lambda: bellows(6),
    "barbed tube": lambda: barbed_tube(3),
    "terraces": lambda: terraced(4),
    "dovetail": dovetail,
    "T slot": t_slot,
    "honeycomb": lambda: honeycomb(8),
    "feet 3": lambda: feet(3),
    "feet 0.8": lambda: feet(0.8),
    "ring groove": o_ring_groove,
    "ball joint": ball_joint,
    "manifold block": lambda: manifold_block(4),
}


def sound_part(name: str) -> Part:
    """Vertices and faces of one of `SOUND`."""
    return arrays(SOUND[name]().simplify(1e-6))
