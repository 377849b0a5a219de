"""Heights told from the surface as given, of islands that were found on a simplified mesh."""

from __future__ import annotations

import numpy as np
import pytest
import shapes_relief as shapes
from shapes_relief import ReliefCase

from lint3d.geometry.relief_faces import faces_as_given
from lint3d.geometry.relief_given import GivenSurface
from lint3d.geometry.relief_heights import cap_of
from lint3d.geometry.reliefs import find_reliefs
from lint3d.geometry.topology import edge_table


def heights(case: ReliefCase) -> tuple[list[tuple[float, ...]], list[tuple[float, ...]]]:
    """Height, lower and upper end of each character, from the simplified mesh and as given."""
    vertices, faces = case.vertices, case.faces
    step = 2.0**-23 * float(np.abs(vertices).max())
    found = find_reliefs(vertices, faces, edge_table(faces, len(vertices)), step)
    characters = [shape for one in found.inscriptions for shape in one.shapes]
    assert len(characters) == case.islands, case.name
    regions = [shape.measured.island.faces for shape in characters]
    rows = faces_as_given(vertices, faces, characters[0].folds, regions)
    given = GivenSurface(vertices, faces, step, rows)
    return (
        [(one.height, one.lower, one.upper) for one in characters],
        [given.height(one, mine) for one, mine in zip(characters, rows, strict=True)],
    )


@pytest.mark.parametrize("base", ["flat", "cylinder", "sphere"])
@pytest.mark.parametrize(
    ("height", "draft", "fillet", "head"),
    [(0.3, 5.0, 0.045, 0.07), (-0.285, 0.0, 0.0, 0.07), (-0.24, 20.0, 0.036, 0.024)],
)
@pytest.mark.cases(1)
def test_rounded_edges_take_nothing_from_the_height(
    base: str, height: float, draft: float, fillet: float, head: float
) -> None:
    rounded = {"draft_deg": draft, "fillet": fillet, "head": head}
    case = shapes.barred("HEN", height, 3.2, 0.45, base=base, **rounded)
    case = shapes.stored(shapes.moved(case, np.random.default_rng(7)))
    _, told = heights(case)
    for value, lower, upper in told:
        assert lower - case.slack <= abs(height) <= upper + case.slack
        assert value == pytest.approx(abs(height), abs=0.002 + case.slack)
        assert (upper - lower) / 2 <= 0.005 + case.slack


def test_a_clean_surface_is_told_to_its_rounding() -> None:
    case = shapes.stored(shapes.lettered("Kai 8", 0.6, 8.0, base="cylinder"))
    simplified, told = heights(case)
    assert all(upper - lower > 0.006 for _, lower, upper in simplified)
    for value, lower, upper in told:
        assert lower - case.slack <= 0.6 <= upper + case.slack
        assert value == pytest.approx(0.6, abs=case.slack)
        assert upper - lower < 0.004


@pytest.mark.parametrize("seed", [0, 3])
def test_a_drum_that_is_known_is_not_doubted_for_what_a_simplified_mesh_says(seed: int) -> None:
    """Half the interval was 2 % of the height, and 5 % for the stem of an i.

    In one frame the foot of a stem is among the bands of its fillet, whose planes told 0.110.
    """
    rounded = {"base": "cylinder", "radius": 13.0, "facet": 0.73, "fillet": 0.0446}
    case = shapes.lettered("Lit", 0.313, 2.65, **rounded)
    simplified, told = heights(shapes.stored(shapes.moved(case, np.random.default_rng(seed))))
    assert all(lower <= 0.313 <= upper for _, lower, upper in simplified)
    for value, lower, upper in told:
        assert value == pytest.approx(0.313, abs=2e-5)
        assert upper - lower < 1e-3


@pytest.mark.further
def test_noise_of_a_scan_stays_in_the_interval() -> None:
    rng = np.random.default_rng(3)
    case = shapes.remeshed(shapes.lettered("LOT 7", 0.8, 12.0), 0.5, 0.01, rng)
    _, told = heights(case)
    for _, lower, upper in told:
        assert lower <= 0.8 <= upper


def test_the_rounding_of_a_cap_tells_no_height_beside_what_is_level() -> None:
    up = np.array([0.0, 0.0, 1.0])
    aslant = np.array([np.sin(np.radians(11.0)), 0.0, np.cos(np.radians(11.0))])
    normal = np.stack([up, up, aslant, aslant])
    level = np.array([1.0, 1.0, 0.97, 0.9])
    below = np.tile(up, (4, 1))
    for area, cap in [
        ((3.0, 3.0, 1.0, 1.0), [0, 1]),
        ((1.1, 1.1, 0.9, 0.9), [0, 1]),
        ((1.0, 1.0, 1.0, 1.0), [0, 1, 2, 3]),
    ]:
        _, told = cap_of(normal, np.array(area), level, below, 1.0)
        assert np.flatnonzero(told).tolist() == cap
