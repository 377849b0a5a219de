"""Do widths far from the origin hold what steps of the coordinates put them off?"""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapes_voids as parts

from lint3d.geometry.voids import find_voids
from lint3d.geometry.voids_doubt import width_doubt, with_doubt


def test_a_step_of_single_precision() -> None:
    """IEEE 754: from 2¹⁹ to 2²⁰ single-precision numbers are 1/16 apart."""
    assert width_doubt(np.array([[1e6, 0.0, -3.0]])) == pytest.approx(math.sqrt(3) / 16)


def test_what_coordinates_are_off_by_besides() -> None:
    vertices = np.full((3, 3), 2.0)
    assert width_doubt(vertices, 2.0**-22 + 0.01) == pytest.approx(math.sqrt(3) * 0.01, rel=1e-3)


@pytest.mark.cases(1)
@pytest.mark.parametrize("seed", range(4))
def test_a_neck_far_away(seed: int) -> None:
    """Closed form: the width across the flats of the neck before its corners are rounded."""
    width = parts.polygon_width(1.6, 12)
    solid = parts.block([12, 12, 12]) - parts.block([7, 8, 7])
    solid -= parts.rod([0, 0, 0], [0, 0, 9], 1.6, 12)
    vertices, faces = parts.mesh(solid, parts.random_frame(seed, 1.0))
    vertices = (vertices + 1e6).astype(np.float32).astype(np.float64)
    found = with_doubt(find_voids(vertices, faces, 1.5, 3.0), width_doubt(vertices))
    (pocket,) = found.pockets
    assert pocket.throat.lower <= width <= pocket.throat.upper
    assert pocket.openings[0].throat.lower <= width <= pocket.openings[0].throat.upper
    assert found.graph is not None
    assert all(data["lower"] <= width <= data["upper"] for *_, data in found.graph.edges(data=True))
