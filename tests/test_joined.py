"""Bodies of one part that overlap or touch are one piece, and places on it find their body."""

from __future__ import annotations

import numpy as np
import pytest
from parts import box, joined, part_of, turned

from lint3d import Joined, LeftOut, Note, Place
from lint3d.joined import on_one_body


@pytest.mark.parametrize("seed", range(4))
def test_a_piece_of_two_bodies_knows_their_faces(seed):
    part = part_of(turned(joined(box(10), box([5, 4, 4], [10, 3, 3]), box(2, [30, 0, 0])), seed))
    large, small, far = part.bodies
    piece = large.joined
    assert isinstance(piece, Joined)
    assert piece is small.joined
    assert far.joined is None
    assert piece.bodies == (large, small)
    for face in range(len(piece.faces)):
        body, row = piece.owner(face)
        assert body in (large, small)
        assert 0 <= row < len(body.faces)
    mine = np.flatnonzero(piece.body_of_face == 1)
    assert set(piece.own_rows(mine, small).tolist()) <= set(range(len(small.faces)))
    assert len(piece.own_rows(mine, large)) == 0
    assert piece.bodies_at(np.append(mine, np.flatnonzero(piece.body_of_face == 0)[:1])) == [
        small,
        large,
    ]


def test_bodies_apart_are_in_no_piece():
    part = part_of(joined(box(5), box(5, [5.5, 0, 0])))
    assert [body.joined for body in part.bodies] == [None, None]
    assert part.joined == {}


def test_a_sound_body_alone_is_in_no_piece():
    assert part_of(box(5)).bodies[0].joined is None


@pytest.mark.parametrize("seed", range(3))
def test_solids_that_share_a_face_to_the_last_digit(seed):
    """Read from a file they are one body, and a piece all the same."""
    part = part_of(turned(joined(box(10), box([5, 10, 10], [10, 0, 0])), seed))
    (body,) = part.bodies
    assert body.joined is not None
    assert body.joined.bodies == (body,)
    assert set(body.joined.face_in_body) <= set(range(24))


def test_a_place_is_told_on_the_body_whose_face_comes_first():
    part = part_of(joined(box(10), box([5, 4, 4], [9, 3, 3])))
    large, small = part.bodies
    piece = large.joined
    assert piece is not None
    of_large, of_small = (np.flatnonzero(piece.body_of_face == i) for i in (0, 1))
    place = on_one_body(Place(1.0, of=piece, faces=[*of_small[:2], *of_large[:3]]))
    assert place.of is small
    assert place.other is large
    assert list(place.faces) == list(dict.fromkeys(piece.face_in_body[of_small[:2]].tolist()))
    gap = on_one_body(LeftOut("why", of=piece, faces=of_large))
    assert gap.of is large
    assert on_one_body(Note("what", of=piece)).of is large
    plain = Place(1.0, of=small, faces=[0])
    assert on_one_body(plain) is plain


def test_a_field_is_parted_by_body():
    part = part_of(joined(box(10), box([5, 4, 4], [9, 3, 3])))
    piece = part.bodies[0].joined
    assert piece is not None
    face = np.arange(len(piece.faces))
    fields = dict(piece.by_body({"face": face, "value": face * 1.0, "high": 2.0}))
    assert list(fields) == list(part.bodies)
    for number, body in enumerate(part.bodies):
        mine = piece.body_of_face == number
        assert (fields[body]["face"] == piece.face_in_body[mine]).all()
        assert (fields[body]["value"] == face[mine]).all()
        assert fields[body]["high"] == 2.0
