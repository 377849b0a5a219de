"""Which way do cells of braille lie, and are the nearest dots neighbours in a cell?"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.spatial.distance import pdist
from scipy.spatial.transform import Rotation
from shapes_relief import BRAILLE

from lint3d.geometry.relief_cells import spacing_share

Floats = NDArray[np.float64]


def laid_out(
    text: str, step: float, cell: float, radius: float, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Middles and normals of dots in lines 10.1 mm apart round a drum, somewhere in space."""
    at = np.array(
        [
            (place * cell + (int(n) - 1) // 3 * step, -((int(n) - 1) % 3) * step - 10.1 * line)
            for line, word in enumerate(text.split())
            for place, letter in enumerate(word)
            for n in BRAILLE[letter]
        ]
    )
    angle = at[:, 0] / radius
    normal = np.stack([np.sin(angle), 0 * angle, np.cos(angle)], axis=1)
    centre = normal * radius + at[:, 1:] * (0, 1, 0) + rng.normal(0, 0.01, (len(at), 3))
    turn = Rotation.random(random_state=rng).as_matrix()
    return centre @ turn.T + rng.uniform(-50, 50, 3), normal @ turn.T


def told(text: str, step: float, cell: float, radius: float, rng: np.random.Generator) -> float:
    centre, normal = laid_out(text, step, cell, radius, rng)
    return float(pdist(centre).min()) * spacing_share(centre, normal)


@pytest.mark.parametrize("text", ["oak", "kka", "kkkk", "eke", "ooo oo", "koi", "iiee"])
@pytest.mark.parametrize("radius", [20.0, 60.0, 1e6])
def test_the_spacing_of_words_without_neighbours(text: str, radius: float) -> None:
    rng = np.random.default_rng(len(text))
    for _ in range(5):
        step, cell = rng.uniform(2.3, 2.5), rng.uniform(6.1, 7.6)
        assert told(text, step, cell, radius, rng) == pytest.approx(step, abs=0.06)


@pytest.mark.parametrize("radius", [20.0, 1e6])
def test_any_words_of_the_alphabet(radius: float) -> None:
    rng = np.random.default_rng(4)
    for _ in range(100):
        words = ["".join(rng.choice(list(BRAILLE), int(rng.integers(3, 8)))) for _ in range(2)]
        step, cell = rng.uniform(2.3, 2.5), rng.uniform(6.1, 7.6)
        text = " ".join(words[: rng.integers(1, 3)])
        assert told(text, step, cell, radius, rng) == pytest.approx(step, abs=0.06), text


@pytest.mark.parametrize("step", [1.8, 3.4, 4.8])
def test_a_spacing_that_no_standard_asks_for_is_told_as_it_is(step: float) -> None:
    rng = np.random.default_rng(5)
    assert told("tide", step, 2.7 * step, 1e6, rng) == pytest.approx(step, abs=0.06)


def test_dots_on_one_line_or_in_no_cells_are_told_by_the_nearest() -> None:
    up = np.tile([0.0, 0, 1], (5, 1))
    row = np.arange(5)[:, None] * np.array([2.4, 0, 0])
    assert spacing_share(row, up) == 1
    angle = np.arange(5) * 2 * np.pi / 5
    ring = 4 * np.stack([np.cos(angle), np.sin(angle), 0 * angle], axis=1)
    assert spacing_share(ring, up) == 1
