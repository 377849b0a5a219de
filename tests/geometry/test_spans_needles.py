"""Do heaps and bundles of needles end soon, with the right answer? Work is counted, not timed."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import pytest

from lint3d.geometry import spans_effort, spans_exact, spans_pairs
from lint3d.geometry.rays import RaysSpent
from lint3d.geometry.sampling import spread_points
from lint3d.geometry.spans import spans
from lint3d.geometry.spans_behind import NEARLY_NEAREST, _nearest_within
from lint3d.geometry.spans_dense import dense_facets
from lint3d.geometry.spans_effort import RAY, effort_for, work_of_look, work_of_ray
from lint3d.geometry.spans_knife import _tree_of
from lint3d.geometry.spans_regions import thin_regions
from lint3d.geometry.spans_sharp import sharp_regions
from lint3d.geometry.spans_surface import SpanSurface, surface_from_mesh

LOW, HIGH = 0.8, 1.25
Mesh = tuple[np.ndarray, np.ndarray]


def disc(count: int, thick: float, radius: float = 20.0, hub: bool = True) -> Mesh:
    """A round plate whose faces are needles from hubs, or all from one corner of the rim."""
    turn = np.arange(count) * 2 * np.pi / count
    low = np.column_stack([radius * np.cos(turn), radius * np.sin(turn), np.zeros(count)])
    i, j = np.arange(count), (np.arange(count) + 1) % count
    sides = [np.stack([i, j, count + j], 1), np.stack([i, count + j, count + i], 1)]
    v = np.concatenate([low, low + [0, 0, thick], [[0, 0, 0], [0, 0, thick]]])
    if hub:
        ends = [np.stack([j, i, 0 * i + 2 * count], 1)]
        ends.append(np.stack([count + i, count + j, 0 * i + 2 * count + 1], 1))
    else:
        k = np.arange(1, count - 1)
        ends = [np.stack([0 * k, k + 1, k], 1), np.stack([0 * k, k, k + 1], 1) + count]
    return v, np.concatenate(sides + ends)


def rod(count: int, radius: float = 0.3, length: float = 30.0) -> Mesh:
    """A round rod of long strips."""
    v, f = disc(count, length, radius)
    return v, f


def moved(mesh: Mesh, seed: int = 3) -> SpanSurface:
    """In a frame of its own, rounded as in a binary STL."""
    from scipy.spatial.transform import Rotation

    v = Rotation.random(random_state=seed).apply(mesh[0]) + [5, -7, 9]
    return surface_from_mesh(v.astype(np.float32).astype(np.float64), mesh[1])


@pytest.fixture
def pairs_met(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How many pairs of large facets each range query handed on."""
    found: list[int] = []
    real = spans_exact.facing_pairs

    def counted(*args: Any, **more: Any) -> Any:
        pairs, complete = real(*args, **more)
        found.append(len(pairs))
        return pairs, complete

    monkeypatch.setattr(spans_exact, "facing_pairs", counted)
    return found


@pytest.mark.parametrize("hub", [True, False])
@pytest.mark.further
def test_a_thin_disc_of_needles_is_one_thin_place(hub: bool, pairs_met: list[int]) -> None:
    found = spans(moved(disc(2000, 0.6, hub=hub)), LOW, HIGH)
    (region,) = thin_regions(found)
    assert region.lower <= 0.6 <= region.upper
    assert region.value == pytest.approx(0.6, abs=1e-4)
    assert found.complete
    assert len(region.faces) >= 0.99 * 2 * 1998
    assert region.area == pytest.approx(np.pi * 400, rel=0.03)
    assert sum(pairs_met) < 4000


def test_a_thick_disc_of_needles_passes() -> None:
    for look in ("inward", "outward"):
        found = spans(moved(disc(2000, 1.2)), LOW, 1.0, look)  # type: ignore[arg-type]
        assert found.complete
        assert thin_regions(found) == []


def test_a_rod_of_needles_is_one_rod(pairs_met: list[int]) -> None:
    found = spans(moved(rod(1500)), LOW, HIGH)
    (region,) = thin_regions(found)
    assert region.kind == "rod"
    assert region.lower <= 0.6 * np.cos(np.pi / 1500) + 1e-9
    assert region.upper >= 0.6 * np.cos(np.pi / 1500) - 1e-5
    assert region.length == pytest.approx(30, abs=0.5)
    assert found.complete
    assert sum(pairs_met) < 3000


def test_rays_do_not_grow_with_the_number_of_needles() -> None:
    on_needles = []
    for count in (2000, 8000):
        found = spans(moved(disc(count, 0.6)), LOW, HIGH)
        on_needles.append(int(found.dense[found.pair[:, 0]].sum()))
    assert on_needles[1] < 1.5 * on_needles[0]


def test_needles_with_creases_between_are_looked_at_pair_by_pair() -> None:
    count = 1200
    x = np.repeat(np.arange(count + 1) * 0.02, 2)
    z = np.where(np.arange(count + 1) % 2, 0.02, 0.0).repeat(2)
    y = np.tile([0.0, 30.0], count + 1)
    a = 2 * np.arange(count)
    f = np.concatenate([np.stack([a, a + 2, a + 3], 1), np.stack([a, a + 3, a + 1], 1)])
    surface = surface_from_mesh(np.column_stack([x, y, z]), f)
    point, facet, _ = spread_points(surface.corners, surface.areas, surface.longest, LOW, 10**6)
    assert not dense_facets(surface, LOW, HIGH, point, facet).any()


@pytest.mark.further
def test_a_heap_of_needles_is_not_called_clear() -> None:
    rng = np.random.default_rng(1)
    begin, way, aside = rng.uniform(0, 30, (9000, 3)), *rng.normal(size=(2, 9000, 3))
    way /= np.linalg.norm(way, axis=1)[:, None]
    v = np.stack([begin, begin + 20 * way, begin + 10 * way + 0.01 * aside], 1).reshape(-1, 3)
    found = spans(surface_from_mesh(v, np.arange(len(v)).reshape(-1, 3)), LOW, HIGH)
    assert not found.complete


def test_a_ray_into_a_heap_costs_more() -> None:
    flat = work_of_ray(moved(disc(50, 5.0)))
    rng = np.random.default_rng(1)
    heap = surface_from_mesh(rng.uniform(0, 30, (60_000, 3)), np.arange(60_000).reshape(-1, 3))
    assert flat < 1.5 * RAY
    assert work_of_ray(heap) > 50 * RAY
    assert effort_for(heap).rays < effort_for(moved(disc(50, 5.0))).rays / 50


def test_a_tangle_costs_no_more_the_more_facets_it_has() -> None:
    """What ordinary surfaces may cost grows with their facets, however many."""
    for facets in (1_000, 1_000_000, 12_000_000):
        assert work_of_look(facets, 1.1 * RAY) == max(spans_effort.LOOK, spans_effort.EACH * facets)
    tangle = [work_of_look(facets, 80 * RAY) for facets in (100_000, 1_000_000, 12_000_000)]
    assert tangle == pytest.approx([spans_effort.LOOK, spans_effort.LOOK, spans_effort.LOOK / 12])


@pytest.mark.further
def test_of_a_tangle_of_many_facets_some_are_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """A million spikes in small: what is measured is right, and the rest is not called clear."""
    monkeypatch.setattr(spans_effort, "LOOK", 1.2e9)
    monkeypatch.setattr(spans_effort, "EACH", 0.0)
    monkeypatch.setattr(spans_effort, "FACETS_MOST", 3000)
    found = spans(moved(star(3000)), LOW, HIGH)
    assert not found.complete
    assert (found.area > 0).sum() < 3000
    assert found.area.sum() == pytest.approx(found.surface.areas.sum(), rel=0.05)
    regions = thin_regions(found)
    assert regions
    assert all(one.upper <= HIGH for one in regions)


@pytest.mark.further
def test_copies_in_place_are_dropped_and_change_nothing() -> None:
    v, f = disc(300, 0.6)
    copies = 40
    many = np.concatenate([f[:, np.arange(i, i + 3) % 3] + i * len(v) for i in range(copies)])
    surface = surface_from_mesh(np.tile(v, (copies, 1)), many)
    assert surface.dropped["doubled"] == (copies - 1) * len(f)
    (region,) = thin_regions(spans(surface, LOW, HIGH))
    (alone,) = thin_regions(spans(surface_from_mesh(v, f), LOW, HIGH))
    assert region.value == alone.value
    assert region.area == pytest.approx(alone.area)


def test_area_of_what_is_too_narrow_is_told() -> None:
    v, f = rod(200_000, length=200.0)
    surface = surface_from_mesh(v.astype(np.float32).astype(np.float64), f)
    assert surface.dropped["needle"] > 0
    assert surface.dropped_mm2 > 100


def test_a_hub_of_many_sides_recedes_as_one_of_few() -> None:
    turn = np.arange(600) * 2 * np.pi / 600
    ring = np.column_stack([10 * np.cos(turn), 10 * np.sin(turn), np.full(600, -0.5)])
    i = np.arange(600)
    f = np.stack([0 * i + 600, i, (i + 1) % 600], 1)
    surface = surface_from_mesh(np.concatenate([ring, [[0, 0, 0]]]), f)
    ways = [0, 0, 1] + 0.05 * np.random.default_rng(2).normal(size=(500, 3))
    ways /= np.linalg.norm(ways, axis=1)[:, None]
    hub = np.full(500, 600)
    one_by_one = spans_pairs._few_recede(surface, hub, ways)
    assert (spans_pairs._many_recede(surface, 600, ways) == one_by_one).all()
    assert 0 < one_by_one.sum() < 500


@pytest.mark.parametrize(("scale", "offset"), [(1e-3, 0.0), (1e3, 0.0), (1.0, 1e6)])
def test_needles_in_metres_and_far_off(scale: float, offset: float) -> None:
    v, f = disc(600, 0.6)
    surface = surface_from_mesh(v * scale + offset, f)
    (region,) = thin_regions(spans(surface, LOW * scale, HIGH * scale))
    assert region.lower <= 0.6 * scale + 1e-9
    assert region.upper >= 0.6 * scale - 1e-9


def tangle(count: int) -> SpanSurface:
    """A closed surface with its corners at random: long faces that cross each other."""
    i, j = np.meshgrid(np.arange(count), np.arange(count), indexing="ij")
    a, b = i * count + j, (i + 1) % count * count + j
    c, d = i * count + (j + 1) % count, (i + 1) % count * count + (j + 1) % count
    faces = np.stack([a, b, d, a, d, c], -1).reshape(-1, 3)
    return surface_from_mesh(np.random.default_rng(0).uniform(0, 60, (count**2, 3)), faces)


@pytest.mark.further
def test_a_tangle_is_told_in_part_within_the_rays_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spans_effort, "LOOK", 1e9)
    monkeypatch.setattr(spans_effort, "EACH", 0.0)
    found = spans(tangle(30), LOW, HIGH)
    assert not found.complete
    assert found.surface.scene.rays_left is not None
    assert found.surface.scene.rays_left >= 0


def test_rays_beyond_those_allowed_are_refused() -> None:
    surface = moved(disc(50, 5.0))
    surface.scene.allow(3)
    origin, way = np.zeros((2, 3)), np.tile([0.0, 0.0, 1.0], (2, 1))
    surface.scene.first_facet(origin, way, 1.0)
    with pytest.raises(RaysSpent, match="was given up"):
        surface.scene.first_facet(origin, way, 1.0)


@pytest.mark.further
def test_edges_in_a_ring_are_looked_up_from_inside_it() -> None:
    turn = np.arange(5000) * 2 * np.pi / 5000
    ring = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    rng = np.random.default_rng(3)
    from_where = 0.2 * rng.normal(size=(3000, 3))
    bound = np.full(3000, 0.9)
    far, row = _nearest_within(_tree_of(ring), from_where, bound)
    away = np.linalg.norm(from_where[:, None] - ring[None], axis=2)
    met = np.isfinite(far)
    # In powers of two: up to twice the bound is looked at.
    assert (met | (away.min(axis=1) > 0.9)).all()
    assert met.any()
    assert far[met] == pytest.approx(away[met, row[met]])
    assert (far[met] <= (1 + NEARLY_NEAREST) * away[met].min(axis=1) + 1e-12).all()


def star(count: int, rings: tuple[float, float, float] = (10, 20, 25), thick: float = 2.0) -> Mesh:
    """A flat ring with spikes all round it."""
    turn = np.arange(count) * 2 * np.pi / count
    flat = [(rings[0], turn), (rings[1], turn), (rings[2], turn + np.pi / count)]
    places = [
        np.column_stack([r * np.cos(a), r * np.sin(a), np.full(count, z)])
        for z in (0, thick)
        for r, a in flat
    ]
    i, j = np.arange(count), (np.arange(count) + 1) % count
    hub, root, tip, upper = 0, count, 2 * count, 3 * count
    sides = [
        (root + i, tip + i, tip + upper + i, root + upper + i),
        (tip + i, root + j, root + upper + j, tip + upper + i),
        (hub + j, hub + i, hub + upper + i, hub + upper + j),
        (hub + i, hub + j, root + j, root + i),
        (upper + hub + i, upper + root + i, upper + root + j, upper + hub + j),
    ]
    faces = [np.stack(one, 1) for a, b, c, d in sides for one in ((a, b, c), (a, c, d))]
    faces.append(np.stack([root + i, root + j, tip + i], 1))
    faces.append(np.stack([upper + root + i, upper + tip + i, upper + root + j], 1))
    return np.concatenate(places), np.concatenate(faces)


@pytest.mark.parametrize("look", ["inward", "outward"])
@pytest.mark.further
def test_spikes_beside_each_other_are_told_each_by_itself(
    look: Literal["inward", "outward"],
) -> None:
    count = 700
    found = sharp_regions(spans(moved(star(count)), LOW, HIGH, look), LOW)
    assert len(found) == count
    faces = np.concatenate([one.faces for one in found])
    # Both sides of a spike, or of a notch: four faces, each of no other.
    assert len(np.unique(faces)) == len(faces) == 4 * count
