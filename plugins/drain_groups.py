"""Which bodies enclose space together, and what is their common surface?

Bodies that lie near each other are looked at as one, so that a hollow between two bodies is seen;
bodies that stand apart are looked at each on its own, which keeps the grids small. Surplus copies
of faces are left out, and gaps closed where it is clear how; what is open is told. Lengths in mm.
Guarded by tests/plugins/test_drain_groups.py.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Body, Joined, LeftOut, join_bodies
from lint3d.geometry.topology import is_in_pieces, open_edges

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.open_lids import Lids

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Group(Joined):
    """Bodies that lie near each other, as one surface; those that overlap or touch are united."""

    def own_rows(self, faces: Sequence[int] | Ints, body: Body) -> Ints:
        """Rows in one body of those faces that are its own, each once, ascending."""
        rows_here = np.asarray(faces, np.int64)
        mine = self.body_of_face[rows_here] == self.bodies.index(body)
        rows: Ints = np.unique(self.face_in_body[rows_here[mine]])
        return rows

    mended: tuple[Body, ...] = ()
    """those that are closed but for surplus copies of faces, which are left out here"""
    lids: Mapping[Body, Lids] = field(default_factory=dict)
    """those whose gaps are closed here, as far as it is clear how"""

    @property
    def open_bodies(self) -> list[Body]:
        return [body for body in self.bodies if not body.closed and body not in self.mended]


def groups_of(bodies: Sequence[Body], near: float, narrow: float = 0.0) -> list[Group]:
    """Put bodies together whose convex hulls are no farther apart than `near` mm.

    Gaps in their surfaces are closed if they are flat or narrower than `narrow` mm.
    """
    from lint3d.geometry.voids_near import near_groups

    bodies = [body for body in bodies if len(body.faces)]
    if not bodies:
        return []
    label = near_groups([body.vertices for body in bodies], near)
    return [
        _group([bodies[i] for i in np.flatnonzero(label == number)], narrow)
        for number in range(int(label.max()) + 1)
    ]


def _group(bodies: list[Body], narrow: float) -> Group:
    """One surface of some bodies, united where they are one piece, closed where that is clear."""
    number = {body: i for i, body in enumerate(bodies)}
    pieces = _pieces(bodies)
    joined = {body for piece in pieces for body in piece.bodies}
    found = [
        (
            piece.vertices,
            piece.faces,
            np.array([number[body] for body in piece.bodies])[piece.body_of_face],
            piece.face_in_body,
        )
        for piece in pieces
    ]
    mended, lids = [], {}
    for body in bodies:
        if body not in joined:
            rows, faces = np.arange(len(body.faces)), body.faces
            # Where every face stands twice a body is closed, and each edge is used four times.
            is_doubtful = not body.closed or bool((body.edges.users() > 2).any())
            if is_doubtful and (sound := _without_copies(body)) is not None:
                mended.append(body)
                rows, faces = sound, body.faces[sound]
            elif not body.closed and len((some := _lids(body, narrow)).faces):
                lids[body] = some
                rows = np.concatenate([rows, some.beside])
                faces = np.concatenate([faces, some.faces])
            found.append((body.vertices, faces, np.full(len(rows), number[body]), rows))
    steps = [body.coordinate_step_mm for body in bodies]
    step = max(steps + [piece.coordinate_step_mm for piece in pieces])
    if len(found) == 1:
        return Group(tuple(bodies), *found[0], step, tuple(mended), lids)
    shift = np.cumsum([0, *(len(one[0]) for one in found[:-1])])
    return Group(
        tuple(bodies),
        np.concatenate([one[0] for one in found]),
        np.concatenate([one[1] + int(s) for one, s in zip(found, shift, strict=True)]),
        np.concatenate([one[2] for one in found]),
        np.concatenate([one[3] for one in found]),
        step,
        tuple(mended),
        lids,
    )


def _lids(body: Body, narrow: float) -> Lids:
    """Faces that close the gaps of a body."""
    from lint3d.geometry.open_lids import Lids, lids_of

    if is_in_pieces(body.edges):
        none = np.zeros(0, np.int64)
        return Lids(none.reshape(0, 3), none, 0.0, 1)
    return lids_of(body.vertices, body.edges, narrow)


def _without_copies(body: Body) -> Ints | None:
    """Rows of its faces without surplus copies, if the body is closed and sound without them.

    A face that stands twice, the same way round, bounds what it bounds once; solid/duplicate-face
    tells. Two that face each other do not, nor does a shell that looks the wrong way.
    """
    from lint3d.geometry.facets import duplicate_faces
    from lint3d.geometry.voids_shells import shell_regions

    first = np.argmin(body.faces, axis=1)[:, None]
    turned = np.take_along_axis(body.faces, (first + np.arange(3)) % 3, axis=1)
    rows: Ints = np.sort(np.unique(turned, axis=0, return_index=True)[1])
    if len(rows) == len(body.faces) or len(duplicate_faces(body.faces[rows])):
        return None
    shells = shell_regions(body.vertices, body.faces[rows])
    fits = (shells.volume < 0) == (shells.depth % 2 == 1)
    return rows if shells.closed.all() and fits.all() else None


def _pieces(bodies: list[Body]) -> list[Joined]:
    """Bodies that are one piece, whether they are of one part or of several."""
    if len({id(body.part) for body in bodies}) > 1:
        return join_bodies(bodies)
    pieces = {id(body.joined): body.joined for body in bodies if body.joined is not None}
    return list(pieces.values())


def left_open(body: Body, pitch: float, lids: Lids | None) -> LeftOut:
    from lint3d.geometry.open_rims import gap_widths

    found = open_edges(body.edges)
    rim = np.unique(found.face)
    if is_in_pieces(body.edges):
        return LeftOut(
            f"'{body.name}' is in pieces: {len(found)} of {len(body.edges.users())} edges have one "
            "face only. What it may enclose cannot be told; solid/open-edge tells more.",
            of=body,
        )
    if len(rim):
        return LeftOut(
            f"'{body.name}' is open: {len(found)} edges have one face only. "
            f"{_leaks(gap_widths(body.vertices, found.place), pitch)} {_judged(lids)} "
            "More may be shut in than was found; solid/open-edge tells more.",
            faces=rim,
            of=body,
        )
    return LeftOut(
        f"'{body.name}' has edges that an odd number of faces share, so its inside is not known "
        "for certain; solid/non-manifold-edge tells more.",
        of=body,
    )


def _leaks(widths: Floats, pitch: float) -> str:
    """How wide the gaps of an open surface are against the grid's pitch, mm, in words."""
    gaps = "The gap is" if len(widths) == 1 else f"The widest of {len(widths)} gaps is"
    against = "less than" if widths[0] < pitch else "no less than"
    return f"{gaps} {widths[0]:.3g} mm across, {against} the grid's pitch of {pitch:.3g} mm."


def _judged(lids: Lids | None) -> str:
    """How was it judged what lies behind the gaps of an open surface?"""
    if lids is None:
        return "What lies behind them was decided by the vote of three directions."
    if lids.gaps_left:
        return (
            "Those that are flat or narrow were closed for measuring; what lies behind the others "
            "was decided by the vote of three directions."
        )
    return "What lies behind them was measured with the gaps closed."
