"""Are faces that lie on each other back to back found, all of them and no others?"""

from __future__ import annotations

import numpy as np
import parts
import pytest
import shapes_basic as basic
import shapes_walls as shapes

from lint3d.geometry import back_to_back as kernel
from lint3d.geometry.back_to_back import GAP, UNSURE, WALL, BackToBack, back_to_back
from lint3d.geometry.spans_surface import surface_from_mesh


def found_in(facets: np.ndarray, times: int = 0) -> BackToBack:
    vertices, back = np.unique(facets.reshape(-1, 3), axis=0, return_inverse=True)
    mesh = (vertices, back.reshape(-1, 3))
    for _ in range(times):
        mesh = basic.quartered(*mesh)
    return back_to_back(surface_from_mesh(*mesh))


def holed(depth: float) -> np.ndarray:
    """A cavity of 8 x 6 mm whose upper side is so far below the outer one."""
    hole = parts.box([8, 6, 4], [5, 5, 16 - depth])
    return parts.joined(parts.box(20), parts.inverted(hole))


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("times", [0, 2])
def test_area_and_kind(seed: int, times: int) -> None:
    facets = parts.turned(holed(0), seed).astype(np.float32).astype(np.float64)
    found = found_in(facets, times)
    assert set(found.kind) == {WALL}
    assert len(set(found.group)) == 1
    assert found.area.sum() == pytest.approx(48, abs=1e-3)


def test_what_is_apart_by_more_than_coordinates_tell_is_none() -> None:
    assert len(found_in(holed(1e-3)).kind) == 0
    assert len(found_in(holed(-1e-3)).kind) == 0


@pytest.mark.parametrize("make", [shapes.sound_block, shapes.sound_bracket, shapes.tube])
def test_sound_solids_have_none(make: object) -> None:
    case = make(np.random.default_rng(0))  # type: ignore[operator]
    case = shapes.moved(case, np.random.default_rng(1))
    found = back_to_back(surface_from_mesh(case.vertices, case.faces))
    assert len(found.kind) == 0


def test_boxes_that_share_an_edge_do_not_lie_on_each_other() -> None:
    assert len(found_in(parts.joined(parts.box(5), parts.box(5, [5, 5, 0]))).kind) == 0


def test_material_on_both_sides_is_a_gap() -> None:
    found = found_in(parts.joined(parts.box(5), parts.box([5, 4, 3], [5, 0, 0])))
    assert set(found.kind) == {GAP}
    assert found.area.sum() == pytest.approx(12)


def test_faces_with_their_corners_in_common_are_found_too() -> None:
    found = found_in(parts.joined(parts.box(5), parts.box(5, [5, 0, 0])))
    assert set(found.kind) == {GAP}
    assert found.area.sum() == pytest.approx(25)
    assert len(np.unique(found.faces)) == 4


def test_a_sheet_that_lies_on_a_face_is_not_sure() -> None:
    """Its upper and lower side cancel with nothing: space above, material below."""
    upper = np.array([[[1, 1, 5], [4, 1, 5], [1, 4, 5]]], float)
    lower = np.array([[[1, 1, 5], [1, 4, 5], [2, 2, 5]], [[1, 4, 5], [4, 1, 5], [2, 2, 5]]], float)
    found = found_in(parts.joined(parts.box(5), upper, lower))
    assert UNSURE in found.kind


@pytest.mark.parametrize("seed", [0, 1])
def test_a_large_surface_is_searched_by_rays_to_the_same_end(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    facets = parts.turned(holed(0), seed).astype(np.float32).astype(np.float64)
    whole = found_in(facets, 4)
    monkeypatch.setattr(kernel, "ALL_OF", 100)
    monkeypatch.setattr(kernel, "LARGEST", 10)
    felt = found_in(facets, 4)
    assert felt.area.sum() == pytest.approx(whole.area.sum())
    assert set(felt.kind) == {WALL}
