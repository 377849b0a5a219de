"""Which bodies enclose space together, and what hollows are there between them?

Bodies that lie near each other are looked at as one, so that a hollow between two bodies is seen;
bodies that stand apart are looked at each on its own, which keeps the grids small. Lengths in mm.
Guarded by tests/plugins/test_drain_hollows.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Body, Joined, LeftOut, Shell, join_bodies
from lint3d.geometry.topology import is_in_pieces, open_edges

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.geometry.open_lids import Lids
    from lint3d.geometry.raster import Grid
    from lint3d.geometry.voids_model import Pocket, SealedPocket, Voids
    from lint3d.geometry.voids_space import Space

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

#: Bytes that a grid point keeps once its chambers are cut, and how many of them all grids of a run
#: may keep; what is beyond is filled again when it is asked for.
_BYTES_KEPT, _MOST_KEPT = 10, 6e8
#: Grid points from which on a frame that fits the part better is looked for.
_WORTH_TURNING = 3e7


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


@dataclass(eq=False)
class Hollow:
    """A group of bodies with the hollows in and between them."""

    group: Group
    voids: Voids
    grids: list[tuple[Grid, float]]
    """of each grid also the reach that its space was cut with"""
    axes: Floats | None = None
    """(3, 3) rows are the axes of the frame that grids and clearance are in; None = the file's"""

    @property
    def surface(self) -> tuple[Floats, Ints]:
        """Vertices in the frame of the grids, and faces."""
        return self.to_grids(self.group.vertices), self.group.faces

    def to_grids(self, points: Floats) -> Floats:
        """Points (…, 3) of the file in the frame of the grids."""
        return points if self.axes is None else points @ self.axes.T

    def to_file(self, points: Floats) -> Floats:
        """Points (…, 3) in the frame of the grids in that of the file."""
        return points if self.axes is None else points @ self.axes

    def spaces(self) -> Iterator[Space]:
        """The grids cut into chambers, one after the other, in their own frame."""
        from lint3d.geometry.voids_space import build_space

        if self.voids.spaces:
            yield from self.voids.spaces
            return
        for grid, reach in self.grids:
            yield build_space(*self.surface, grid, reach)

    def members(self, space: Space) -> dict[int, list[Pocket]]:
        """The pockets that lie in a space, by the chambers that they are made of."""
        found: dict[int, list[Pocket]] = {}
        assert self.voids.graph is not None
        for pocket in self.voids.pockets:
            chamber = _chamber_at(space, self.to_grids(pocket.position))
            members = self.voids.graph.nodes[pocket.node]["members"]
            if chamber in members:
                for one in members:
                    found.setdefault(one, []).append(pocket)
        return found

    def face_at(self, position: Floats) -> int:
        """The face nearest to a place."""
        assert self.voids.clearance is not None
        place = self.to_grids(np.asarray(position, np.float64))
        return int(self.voids.clearance.nearest(place[None])[1][0])


@dataclass(eq=False)
class Hollows:
    """All hollows of what is printed together.

    Attributes
    ----------
    resolved : mm, narrowest width that the grids resolve
    told_apart : mm, openings wider than this are not told apart from the outside
    """

    found: tuple[Hollow, ...]
    resolved: float
    told_apart: float = 0.0

    def unseen(self) -> Iterator[LeftOut]:
        """What the grids could not show, and the bodies that are open."""
        yield from self.open_bodies()
        for hollow in self.found:
            said_open = bool(hollow.group.open_bodies)
            for gap in hollow.voids.left_out:
                if not (said_open and "solid/open-edge" in gap.reason):
                    yield LeftOut(gap.reason, of=hollow.group.bodies[0], position=gap.position)

    def perhaps_sealed(self) -> Iterator[LeftOut]:
        """Where it was not told whether a hollow is closed, and the bodies that are open."""
        yield from self.open_bodies()
        for hollow in self.found:
            for gap in hollow.voids.left_out:
                if gap.may_be_sealed:
                    yield LeftOut(gap.reason, of=hollow.group.bodies[0], position=gap.position)

    def open_bodies(self) -> Iterator[LeftOut]:
        """Bodies whose inside is not known for certain."""
        for hollow in self.found:
            for body in hollow.group.open_bodies:
                yield _open_body(body, hollow.voids.pitch, hollow.group.lids.get(body))


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


def find_hollows(
    bodies: Sequence[Body],
    low: float,
    high: float,
    limits: tuple[float, ...],
    near: float | None = None,
) -> Hollows:
    """Find the hollows of what is printed together.

    Parameters
    ----------
    low, high : mm, the widths between which openings matter
    limits : mm, widths that openings will be compared with
    near : mm, bodies no farther apart than this are looked at together; None = `low`
    """
    from lint3d.geometry.voids import find_voids
    from lint3d.geometry.voids_frame import turned_back
    from lint3d.geometry.voids_space import POINTS_PER_WIDTH

    found: list[Hollow] = []
    kept = 0.0
    for group in groups_of(bodies, low if near is None else near, low / POINTS_PER_WIDTH):
        axes = _axes(group, low)
        voids = find_voids(
            group.vertices if axes is None else group.vertices @ axes.T,
            group.faces,
            low,
            high,
            limits=limits,
            coordinate_step=group.coordinate_step_mm,
        )
        grids = [(space.grid, space.reach) for space in voids.spaces]
        kept += _BYTES_KEPT * sum(float(np.prod(grid.shape)) for grid, _ in grids)
        if kept > _MOST_KEPT and found:
            voids.spaces = []
        if axes is not None:
            voids = turned_back(voids, axes)
        found.append(Hollow(group, voids, grids, axes))
    return Hollows(tuple(found), low, high)


def _axes(group: Group, low: float) -> Floats | None:
    """The frame in which a large part needs the fewest grid points; None for the file's own."""
    from lint3d.geometry.voids_frame import fitted_axes
    from lint3d.geometry.voids_space import POINTS_PER_WIDTH

    size = np.ptp(group.vertices[np.unique(group.faces)], axis=0)
    if np.prod(np.maximum(size * (POINTS_PER_WIDTH / low), 1.0)) < _WORTH_TURNING:
        return None
    axes = fitted_axes(group.vertices, group.faces)
    return None if np.array_equal(axes, np.eye(3)) else axes


def is_reversed(shell: Shell) -> bool:
    """Does a shell look the other way in the file than its place among the others asks for?"""
    return shell.closed and shell.volume != 0 and (shell.volume < 0) != (shell.depth % 2 == 1)


def volumes_either_way(group: Group, pocket: SealedPocket) -> tuple[float, float]:
    """Volume of a sealed pocket if its shells mean what the file says, and if they are mended.

    A cavity that is turned otherwise than the shell around it means material, and no hollow; a
    loose body that is turned otherwise means none.
    """
    as_given = as_mended = pocket.volume
    for body in group.bodies_at(pocket.faces):
        mine = np.zeros(len(body.faces), bool)
        mine[group.own_rows(pocket.faces, body)] = True
        outer = is_reversed(body.shells[0])
        for shell in body.shells:
            if not mine[np.searchsorted(body.face_in_part, shell.faces)].all():
                continue
            if shell.depth % 2 and is_reversed(shell) != outer:
                return 0.0, as_mended
            if shell.depth % 2 == 0 and is_reversed(shell):
                as_given += abs(shell.volume)
    return as_given, as_mended


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
            if not body.closed and (sound := _without_copies(body)) is not None:
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


def _chamber_at(space: Space, position: Floats) -> int:
    """The chamber that a place lies in; −1 for material or a place beyond the grid."""
    grid = space.grid
    at = np.rint((np.asarray(position) - grid.point(np.zeros(3, np.int64))) / grid.pitch)
    index = at.astype(np.int64)
    if (index < 0).any() or (index >= np.array(grid.shape)).any():
        return -1
    basin = int(space.basins.label[tuple(index)])
    return int(space.chambers.of_basin[basin]) if basin >= 0 else -1


def _open_body(body: Body, pitch: float, lids: Lids | None) -> LeftOut:
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
