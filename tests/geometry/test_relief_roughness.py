"""Noise is told from steep facets that repeat, and what it may hide is not said to be absent."""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_machined as machined
import shapes_relief as shapes
import shapes_sound as sound
from shapes_walls import arrays

from lint3d.geometry.patches import Folds, folds
from lint3d.geometry.relief_roughness import Roughness, noise_share
from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def folds_of(vertices: np.ndarray, faces: np.ndarray) -> Folds:
    return folds(vertices, faces, edge_table(faces, len(vertices)))


def found_on(vertices: np.ndarray, faces: np.ndarray) -> Found:
    step = 2.0**-23 * float(np.abs(vertices).max())
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), step)


def noisy(body: m3.Manifold, sigma: float) -> tuple[np.ndarray, np.ndarray]:
    vertices, faces = arrays(body)
    return vertices + np.random.default_rng(0).normal(0, sigma, vertices.shape), faces


@pytest.mark.parametrize(("pitch", "deep"), [(1.0, 0.6), (2.0, 1.1), (3.0, 1.6)])
def test_a_thread_is_no_noise(pitch: float, deep: float) -> None:
    there = folds_of(*arrays(sound.thread(int(20 / pitch), pitch, 6, deep)))
    assert len(there.faces) > 10_000
    assert noise_share(there) == 0
    assert not Roughness(there).is_rough


@pytest.mark.parametrize("sigma", [0.05, 0.1])
def test_a_noisy_thread_is_noise(sigma: float) -> None:
    assert Roughness(folds_of(*noisy(sound.thread(6), sigma))).is_rough


def test_the_order_of_faces_changes_nothing() -> None:
    vertices, faces = noisy(sound.plate().refine_to_length(1.0), 0.05)
    case = shapes.ReliefCase("", vertices, faces, 0.0)
    other = shapes.moved(case, np.random.default_rng(1))
    one, two = folds_of(vertices, faces), folds_of(other.vertices, other.faces)
    assert noise_share(one) == pytest.approx(noise_share(two), rel=1e-6)


@pytest.mark.parametrize("sigma", [0.005, 0.05, 0.3])
@pytest.mark.parametrize("build", [sound.plate, lambda: sound.gear(20)], ids=["plate", "gear"])
@pytest.mark.cases(1)
def test_a_noisy_scan_is_open_or_quiet(build: object, sigma: float) -> None:
    found = found_on(*noisy(build().refine_to_length(0.8), sigma))  # type: ignore[operator]
    assert not found.inscriptions
    assert not found.dots
    assert len(found.marks) + len(found.others) < 20
    assert bool(found.trouble) == (sigma > 0.01)


@pytest.mark.parametrize("sigma", [0.005, 0.02, 0.05, 0.1, 0.2])
@pytest.mark.parametrize("edge", [0.4, 0.8])
@pytest.mark.cases(1)
def test_letters_in_noise_are_found_or_it_is_open(edge: float, sigma: float) -> None:
    case = shapes.lettered("TIDE 7", 0.5, 8.0)
    case = shapes.remeshed(case, edge, sigma, np.random.default_rng(3))
    found = found_on(case.vertices, case.faces)
    assert found.inscriptions or "too rough" in found.trouble
    if sigma <= 0.02:
        assert sum(len(line.shapes) for line in found.inscriptions) == 5


def test_an_open_scan_of_noise_is_open() -> None:
    vertices, faces = noisy(sound.plate().refine_to_length(0.6), 0.2)
    half = faces[vertices[faces][:, :, 2].mean(axis=1) > 0]
    assert "too rough" in found_on(vertices, half).trouble


def test_few_faces_are_never_rough() -> None:
    """A crystal of random points turns steeply everywhere, but has few faces."""
    points = np.random.default_rng(0).normal(size=(300, 3))
    body = m3.Manifold.hull_points(points / np.linalg.norm(points, axis=1)[:, None] * 10)
    assert not Roughness(folds_of(*arrays(body))).may_hide_relief


def test_coarse_gems_are_no_noise() -> None:
    """Facets that turn steeply, all the same way, are no scan."""
    points = np.random.default_rng(0).normal(size=(3000, 3))
    body = m3.Manifold.hull_points(points / np.linalg.norm(points, axis=1)[:, None] * 10)
    assert noise_share(folds_of(*arrays(body))) < 0.01


@pytest.mark.parametrize("name", ["fine crossed knurl", "helical gear of 24, 40 degrees"])
def test_knurls_and_gears_are_no_noise(name: str) -> None:
    assert noise_share(folds_of(*machined.machined_part(name))) < 0.05
