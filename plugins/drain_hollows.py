"""Which hollows are there in and between the bodies that are printed together?

Lengths in mm. Guarded by tests/plugins/test_drain_hollows.py.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from lint3d import Body, LeftOut, Shell
from lint3d_plugins.drain_groups import Group, groups_of, left_open

if TYPE_CHECKING:
    from numpy.typing import NDArray

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


@dataclass(eq=False)
class Hollow:
    """A group of bodies with the hollows in and between them."""

    group: Group
    voids: Voids
    grids: list[tuple[Grid, float]]
    """of each grid also the reach that its space was cut with"""
    axes: Floats | None = None
    """(3, 3) rows are the axes of the frame that grids and clearance are in; None = the file's"""

    @cached_property
    def width_doubt(self) -> float:
        """mm, how much wider or narrower than drawn a passage may be in the file."""
        from lint3d.geometry.voids_doubt import width_doubt

        return width_doubt(self.group.vertices, self.group.coordinate_step_mm)

    @cached_property
    def surface(self) -> tuple[Floats, Ints]:
        """Vertices in the frame of the grids, and faces.

        The same arrays each time: what was worked out on them is known again by that.
        """
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
        from lint3d.geometry.voids_reach import chamber_at

        found: dict[int, list[Pocket]] = {}
        assert self.voids.graph is not None
        for pocket in self.voids.pockets:
            chamber = int(chamber_at(space, self.to_grids(pocket.position)[None])[0])
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
                yield left_open(body, hollow.voids.pitch, hollow.group.lids.get(body))


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
    from lint3d.geometry.voids_doubt import with_doubt
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
        hollow = Hollow(group, voids, grids, axes)
        hollow.voids = with_doubt(voids, hollow.width_doubt)
        found.append(hollow)
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
