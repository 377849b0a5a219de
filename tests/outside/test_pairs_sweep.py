"""Random pairs of bodies against FCL's distances and manifold3d's volumes.

Bodies are unions and differences of boxes, balls, rods and slats, or prisms of many sides. They
stand apart, nearly touch, cross or lie within each other, also 1e6 mm from the origin and with a
face missing. Libraries: python-fcl (BSD), manifold3d (Apache 2.0).
"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
from shapes_pairs import ball, box, fcl_distance, mesh, rod, rotation

from lint3d.geometry.clearance import Surface
from lint3d.geometry.clearance_spots import near_spots
from lint3d.geometry.overlap import NoSolid, common_volume, contains, may_contain
from lint3d.geometry.uniting import Material, unite

QUICK, MANY = 40, 1000
REACH = 3.0


def random_solid(rng):
    if rng.random() < 0.1:
        return rod(rng.uniform(2, 6), 0, rng.uniform(0.01, 20), int(rng.integers(200, 1500)))
    whole = m3.Manifold()
    for number in range(rng.integers(1, 5)):
        kind = rng.integers(4)
        if kind == 0:
            solid = box(rng.uniform(1, 8, 3))
        elif kind == 1:
            solid = ball(rng.uniform(1, 5), int(rng.integers(8, 40)))
        elif kind == 2:
            solid = rod(rng.uniform(0.5, 3), 0, rng.uniform(2, 12), int(rng.integers(5, 60)))
        else:
            solid = box([rng.uniform(5, 20), *rng.uniform(0.2, 1, 2)])
        solid = solid.transform(np.column_stack([rotation(rng), rng.uniform(-4, 4, 3)]))
        is_added = number == 0 or rng.random() < 0.7
        whole = whole + solid if is_added else whole - solid
    if whole.is_empty():
        return ball(3, 20)
    return max(whole.decompose(), key=lambda piece: piece.volume())


def random_pair(rng):
    """Two meshes in float32 coordinates, and where their middle is."""
    (a, fa), (b, fb) = mesh(random_solid(rng)), mesh(random_solid(rng))
    a, b = a - a.mean(axis=0), b - b.mean(axis=0)
    way = rng.normal(size=3)
    way /= np.linalg.norm(way)
    side_by_side = (a @ way).max() - (b @ way).min()
    where = rng.integers(4)
    if where == 0:
        b = 0.05 * b
    elif where == 1:
        b = b + way * side_by_side * rng.uniform(0.9, 1.1)
    elif where == 2:
        b = b + way * side_by_side
    else:
        b = b + rng.uniform(-6, 6, 3)
    offset = float(rng.choice([0, 0, 100, 1e6]))
    a, b = ((v + offset).astype(np.float32).astype(float) for v in (a, b))
    if rng.random() < 0.15:
        fa = np.delete(fa, rng.integers(len(fa)), axis=0)
    return (a, fa), (b, fb), a.mean(axis=0)


def solid_of(vertices, faces):
    solid = m3.Manifold(m3.Mesh64(vertices, faces.astype(np.uint64)))
    # Far from the origin rounding may flatten a body altogether.
    return solid if solid.status() == m3.Error.NoError and solid.volume() > 0 else None


def check(seed):
    one, two, middle = random_pair(np.random.default_rng(seed))
    surfaces = Surface(*one), Surface(*two)
    if not all(len(surface.row) for surface in surfaces):
        return
    step = sum(surface.uncertainty_mm for surface in surfaces)
    near = [(v - middle, f) for v, f in (one, two)]
    distance = fcl_distance(*near)
    spots = near_spots(*surfaces, [step, REACH])
    if distance <= REACH:
        assert spots[0].distance == pytest.approx(distance, abs=max(1e-6, 0.45 * step)), seed
    else:
        assert spots == [] or spots[0].distance <= REACH, seed
    solids = [solid_of(*body) for body in near]
    if None in solids:
        return
    common = (solids[0] ^ solids[1]).volume()
    try:
        overlap = common_volume(*surfaces)
    except NoSolid:
        overlap = None
        assert common == 0 or step > 0.1, seed
    if overlap is not None:
        assert overlap.volume == pytest.approx(common, abs=overlap.uncertainty + 1e-9), seed
    held = any(
        may_contain(a, b) and contains(a, b.corners[0, 0]) for a, b in (surfaces, surfaces[::-1])
    )
    if distance > 2 * step:
        assert held == (common > 0), seed
        if step < 0.1:
            united = unite([Material(*one), Material(*two)])
            assert bool(united) == held, seed
            if united:
                corners = united[0].vertices[united[0].faces] - middle
                six = np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
                assert six / 6 == pytest.approx((solids[0] + solids[1]).volume(), rel=1e-5), seed


@pytest.mark.parametrize("seed", range(QUICK))
@pytest.mark.cases(2)
def test_random_pairs(seed):
    check(seed)


@pytest.mark.slow
def test_many_random_pairs():
    for seed in range(QUICK, MANY):
        check(seed)
