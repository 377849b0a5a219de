"""What is kept of hollows, and what is said of what could not be seen?"""

from __future__ import annotations

import numpy as np
import pytest
import shapes_voids
from parts import box, part_of

from lint3d import Body
from lint3d.geometry.voids_model import NotSeen
from lint3d_plugins.drain_hollows import find_hollows


def test_spaces_are_filled_again_when_they_were_not_kept() -> None:
    vertices, faces = shapes_voids.mesh(shapes_voids.bottle(4, 2.0, 3))
    body = part_of(vertices[faces]).bodies[0]
    found = find_hollows([body], 1.5, 3.0, (1.5,))
    (hollow,) = found.found
    kept = [space.raster.solid for space in hollow.spaces()]
    assert kept
    hollow.voids.spaces = []
    again = [space.raster.solid for space in hollow.spaces()]
    assert all(np.array_equal(a, b) for a, b in zip(kept, again, strict=True))


def test_places_on_the_surface_are_looked_for_once_in_any_frame() -> None:
    """Turned corners were new ones each time, so that every ball had the places found anew."""
    vertices, faces = shapes_voids.mesh(shapes_voids.bottle(4, 2.0, 3))
    body = part_of(vertices[faces]).bodies[0]
    (hollow,) = find_hollows([body], 1.5, 3.0, (1.5,)).found
    hollow.axes = np.eye(3)[[1, 2, 0]]
    (space,) = hollow.spaces()
    assert space.places(*hollow.surface) is space.places(*hollow.surface)


def _ball_with_copies(turn_inner: bool = False, turn_copies: bool = False) -> Body:
    """A block shut round a ball, with some faces of the ball's wall doubled."""
    vertices, faces = shapes_voids.mesh(shapes_voids.sealed_ball(5.0), shapes_voids.random_frame(7))
    centre = shapes_voids.random_frame(7)[:, 3]
    inner = np.linalg.norm(vertices[faces] - centre, axis=2).max(axis=1) < 5.5
    if turn_inner:
        faces[inner] = faces[inner][:, ::-1]
    copies = np.roll(faces[np.flatnonzero(inner)[:40:9]], 1, axis=1)
    if turn_copies:
        copies = copies[:, ::-1]
    (body,) = part_of(vertices[np.vstack([faces, copies])]).bodies
    assert not body.closed
    return body


def test_surplus_copies_of_faces_do_not_hide_a_sealed_pocket() -> None:
    body = _ball_with_copies()
    found = find_hollows([body], 1.5, 3.0, (1.5,))
    assert list(found.unseen()) == []
    (hollow,) = found.found
    (pocket,) = hollow.voids.sealed
    assert pocket.volume == pytest.approx(shapes_voids.ball(5.0).volume(), abs=0.01)
    assert hollow.group.own_rows(pocket.faces, body).size == len(pocket.faces)


def test_a_body_that_is_there_twice_shuts_in_its_hollow_once() -> None:
    """Closed form: the volume of the faceted ball, which was told twofold."""
    vertices, faces = shapes_voids.mesh(shapes_voids.sealed_ball(5.0), shapes_voids.random_frame(3))
    (body,) = part_of(vertices[np.vstack([faces, faces])]).bodies
    (hollow,) = find_hollows([body], 1.5, 3.0, (1.5,)).found
    (pocket,) = hollow.voids.sealed
    volume = shapes_voids.ball(5.0).volume()
    assert abs(pocket.volume - volume) <= pocket.uncertainty


@pytest.mark.parametrize("wrong", [{"turn_inner": True}, {"turn_copies": True}])
def test_copies_are_kept_where_more_is_wrong(wrong: dict[str, bool]) -> None:
    """A wall that looks the wrong way, or faces back to back: what is shut in is not known."""
    found = find_hollows([_ball_with_copies(**wrong)], 1.5, 3.0, (1.5,))
    assert list(found.open_bodies())


def test_what_may_be_sealed_is_open_for_the_rule_on_sealed_pockets() -> None:
    """Seen with halves that overlap: what looked like a fine neck was a sliver of their union."""
    found = find_hollows(part_of(box(10.0)).bodies, 1.5, 5.0, (1.5,))
    left_out = found.found[0].voids.left_out
    left_out += [NotSeen("A neck.", (1.0, 2.0, 3.0), may_be_sealed=True), NotSeen("A coarse grid.")]
    assert [one.reason for one in found.perhaps_sealed()] == ["A neck."]
    assert [one.reason for one in found.unseen()] == ["A neck.", "A coarse grid."]


@pytest.mark.parametrize(("gap", "against"), [(0.3, "less than"), (0.6, "no less than")])
def test_open_body_says_how_wide_its_gap_is_against_the_grid(gap: float, against: str) -> None:
    block = shapes_voids.block([8.0, 8.0, 8.0])
    hole = shapes_voids.block([gap, 2.0, 20.0])
    vertices, faces = shapes_voids.mesh(block - hole)
    wall = (np.abs(vertices[faces][:, :, :2]) < 1.01).all(axis=(1, 2))
    lid = np.ptp(vertices[faces][:, :, 2], axis=1) > 1
    (body,) = part_of(vertices[np.delete(faces, np.flatnonzero(wall & lid), axis=0)]).bodies
    (told,) = find_hollows([body], 1.5, 3.0, (1.5,)).open_bodies()
    assert f"The widest of 2 gaps is {gap:g} mm across, {against} the grid's pitch" in told.reason
