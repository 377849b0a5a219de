"""Size rules: extents are those of the file's own numbers, and a lost file does not pass."""

from __future__ import annotations

import numpy as np
import pytest
from parts import box, joined, part_of, source_of, turned

from lint3d import NotApplicable, Note, Place, Places, Source
from lint3d_plugins.size import height, largest_extent, units_doubt


def test_height_is_the_extent_along_z() -> None:
    (place,) = height(part_of(box((10, 20, 5), (0, 0, 3))).bodies[0])
    assert place.value == 5.0
    assert place.position[2] == 8.0
    assert place.lower < 5.0 < place.upper


@pytest.mark.parametrize("seed", range(3))
def test_height_of_a_turned_box(seed: int) -> None:
    """The extent of a box along any direction is the sum of its sides' shadows."""
    sides = np.array([10.0, 20.0, 5.0])
    q = np.linalg.lstsq(box().reshape(-1, 3), turned(box(), seed).reshape(-1, 3), rcond=None)[0].T
    (place,) = height(part_of(turned(box(sides), seed)).bodies[0])
    assert place.value == pytest.approx(np.abs(q[2]) @ sides, rel=1e-9)


def test_the_largest_extent_is_around_everything_in_the_file() -> None:
    source = source_of(box(10), joined(box(3), box(2, (0, 0, 98))))
    (place,) = largest_extent(source)
    assert place.value == 100.0
    assert place.of is source


def test_uncertainty_is_a_step_of_32_bits() -> None:
    body = part_of(box(10, (1000, 0, 0))).bodies[0]
    largest = abs(body.vertices).max()
    # Never below the step of single precision there, nor below that of the number in inches.
    for unit_mm in (1.0, 25.4):
        step = float(np.spacing(np.float32(largest / unit_mm))) * unit_mm
        assert step <= body.coordinate_step_mm <= 2 * step


def test_an_assumed_unit_is_told_and_the_shared_place_stays_as_it_was() -> None:
    source = source_of(box(10))
    shared = largest_extent(source)
    place, note = units_doubt(source, shared)
    assert isinstance(place, Place)
    assert isinstance(note, Note)
    assert "10 mm, read as mm (assumed)" in (place.remark or "")
    assert note.properties == {"assumed_unit": "mm"}
    assert shared[0].remark is None
    source.unit_origin = "found"
    assert len(list(units_doubt(source, shared))) == 1


def test_a_lost_file_has_no_size() -> None:
    with pytest.raises(NotApplicable):
        largest_extent(Source("a.stl", "a.stl"))
    assert list(units_doubt(source_of(box()), Places())) == []
