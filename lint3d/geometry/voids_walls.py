"""Which faces does each piece of free space see, and where does the surface lead between two?

A connected surface has one and the same free space all along its outer side: where faces that one
piece sees give way to those that another one sees, over faces that no free point sees, the two are
joined by a neck that the grid does not show. Lengths in mm. Guarded by
tests/geometry/test_voids_narrow.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.topology import edge_table, face_links
from lint3d.geometry.voids_shells import ShellRegions
from lint3d.geometry.voids_space import Space
from lint3d.geometry.voids_tight import along_sides

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Points at walls that are looked up at most.
_MOST_WALL_POINTS = 400_000
#: Of all points at walls, samples whose nearest faces are looked up, at least; and for each face
#: that the grid covers.
_LEAST_SAMPLES, _SAMPLES_PER_FACE = 6_000, 4
#: How far apart places are strewn on faces, voxels, and how often a side is cut for that at most.
_PLACES_APART, _MOST_CUTS = 0.7, 400
#: Faces longer than this many places are first cut in four, to leave out what lies beyond the grid.
_FEW_CUTS = 40


@dataclass(frozen=True, eq=False)
class Surface:
    """Faces with the shells they form."""

    vertices: Floats
    faces: Ints
    regions: ShellRegions


class Walls:
    """Which faces does each piece of free space see?

    Crumbs of free space inside a neck are left out: they are no pieces to lead from or to.
    """

    def __init__(
        self,
        surface: Surface,
        space: Space,
        nearest: Clearance,
        piece_of_chamber: Ints,
        pieces: Sequence[int],
    ) -> None:
        self.surface, self.space = surface, space
        grid = space.grid
        self.box = grid.origin, grid.point(np.array(grid.shape) - 1)
        label = space.basins.label.reshape(-1)
        rows = space.at_wall
        part = piece_of_chamber[space.chambers.of_basin[label[rows]]]
        others = np.flatnonzero(part == 0)
        keep = np.isin(part, pieces)
        if len(others) > _MOST_WALL_POINTS:
            keep[others] = False
            keep[others[:: len(others) // _MOST_WALL_POINTS + 1]] = True
        self.row, self.part = rows[keep], part[keep]
        self.point = space.points(self.row)
        # A face that no sample lies before counts as seen by nobody, and is looked at closely.
        covered = np.count_nonzero(_meets(surface.vertices[surface.faces], self.box))
        most = max(_LEAST_SAMPLES, _SAMPLES_PER_FACE * int(covered))
        self._sample = slice(None, None, len(self.row) // most + 1)
        self._face = nearest.nearest(self.point[self._sample])[1]
        self._seen: dict[int, NDArray[np.bool_]] = {}
        self._seen_by_any = self._sees(np.ones(len(self.part), bool))
        table = edge_table(surface.faces, len(surface.vertices))
        self.links = np.column_stack(face_links(table)).astype(np.int64)

    def necks(self, part: int, most: int | None = None) -> list[tuple[Floats, int]]:
        """Places on the surface that lead from a piece to others, and the piece they lead to.

        Parameters
        ----------
        most : pieces with higher numbers are left out; none are by default
        """
        found = []
        mine = self._seen_from(part)
        others = np.unique(self.part[self.part != part])
        for other in others if most is None else others[others <= most]:
            theirs = self._seen_from(int(other))
            found += [
                (places, int(other))
                for rows in self._between(mine, theirs)
                for places in self._places(rows, part, int(other))
            ]
        return found

    def _seen_from(self, part: int) -> NDArray[np.bool_]:
        """(m,) which faces does a piece see?"""
        if part not in self._seen:
            self._seen[part] = self._sees(self.part == part)
        return self._seen[part]

    def _sees(self, points: NDArray[np.bool_]) -> NDArray[np.bool_]:
        seen = np.zeros(len(self.surface.faces), bool)
        seen[self._face[points[self._sample]]] = True
        return seen

    def _between(self, mine: NDArray[np.bool_], theirs: NDArray[np.bool_]) -> list[Ints]:
        """Groups of faces that lead from what one piece sees to what another sees."""
        faces, links = self.surface.faces, self.links
        free = ~self._seen_by_any | (mine & theirs)
        inner = free[links].all(axis=1)
        group = connected_groups(len(faces), links[inner, 0], links[inner, 1])
        both = np.concatenate([links, links[:, ::-1]])
        both = both[free[both[:, 0]]]
        touches = [np.zeros(len(faces), bool), np.zeros(len(faces), bool)]
        for touch, side in zip(touches, (mine, theirs), strict=True):
            touch[group[both[side[both[:, 1]], 0]]] = True
            touch[group[np.flatnonzero(side & free)]] = True
        leads = free & (touches[0] & touches[1])[group]
        border = (mine[links[:, 0]] & theirs[links[:, 1]]) | (
            theirs[links[:, 0]] & mine[links[:, 1]]
        )
        leads[links[border].ravel()] = True
        inner = leads[links].all(axis=1)
        group = connected_groups(len(faces), links[inner, 0], links[inner, 1])
        rows = np.flatnonzero(leads)
        return [rows[group[rows] == one] for one in np.unique(group[rows])]

    def _places(self, rows: Ints, part: int, other: int) -> list[Floats]:
        """Groups of places on some faces that lie between what the two pieces see.

        Faces are cut small first: a long one may begin in one piece and end in the other.
        """
        pitch = self.space.grid.pitch
        place, normal = self._on_grid(*_strewn(self.surface, rows, _PLACES_APART * pitch, self.box))
        place, normal = _thinned(place, normal, _PLACES_APART * pitch)
        owner = self._seen_by(place, normal)
        reach = 2.5 * _PLACES_APART * pitch
        # Farther ones are no ends: looking them up would take longer than all the rest.
        ends = []
        for one in (part, other):
            tree = cKDTree(place[owner == one]) if np.any(owner == one) else None
            ends.append(
                np.full(len(place), np.inf)
                if tree is None
                else tree.query(place, distance_upper_bound=reach)[0]
            )
        # Unseen places, and seen ones beside those that the other piece sees.
        between = np.flatnonzero(
            (owner < 0)
            | ((owner == part) & (ends[1] < reach))
            | ((owner == other) & (ends[0] < reach))
        )
        if len(between) == 0:
            return []
        links = cKDTree(place[between]).query_pairs(reach, output_type="ndarray")
        group = connected_groups(len(between), links[:, 0], links[:, 1])
        found = [between[group == one] for one in range(int(group.max()) + 1)]
        found = [one for one in found if all(end[one].min() < reach for end in ends)]
        found.sort(key=len)
        return [place[one] for one in found]

    def _on_grid(self, place: Floats, normal: Floats) -> tuple[Floats, Floats]:
        """The places that the grid covers: whether others are seen is not known."""
        inside = np.all((place >= self.box[0]) & (place <= self.box[1]), axis=1)
        return place[inside], normal[inside]

    def _seen_by(self, place: Floats, normal: Floats) -> Ints:
        """(k,) the piece with a free point just above each place of the surface; −1 = none."""
        owner = np.full(len(place), -1, np.int64)
        reach = 1.6 * self.space.grid.pitch
        beside = self._in_box(place, reach)
        if len(beside) == 0:
            return owner
        point, part, tree = self.point[beside], self.part[beside], cKDTree(self.point[beside])
        left = np.arange(len(place))
        # Mostly one of the nearest few lies above.
        for count in (3, 12):
            gap, near = tree.query(place[left], k=count, distance_upper_bound=reach)
            is_near = np.isfinite(gap)
            near = np.where(is_near, near, 0)
            above = np.einsum("ijk,ik->ij", point[near] - place[left, None], normal[left])
            is_above = is_near & (above > 0.3 * gap)
            seen = is_above.any(axis=1)
            first = np.argmax(is_above, axis=1)[seen]
            owner[left[seen]] = part[near[seen, first]]
            left = left[~seen & is_near[:, -1]]
        return owner

    def _in_box(self, place: Floats, reach: float) -> Ints:
        """Which wall points lie in the box around some places?"""
        if len(place) == 0:
            return np.zeros(0, np.int64)
        low, high = place.min(axis=0) - reach, place.max(axis=0) + reach
        # Points stand in the grid's order: those of some of its layers follow each other.
        layer = self.space.grid.strides[0]
        ends = (np.array([low[0], high[0]]) - self.space.grid.origin[0]) / self.space.grid.pitch
        first = int(np.searchsorted(self.row, int(np.floor(ends[0])) * layer))
        last = int(np.searchsorted(self.row, (int(np.ceil(ends[1])) + 1) * layer))
        point = self.point[first:last]
        rows: Ints = np.flatnonzero(np.all((point > low) & (point < high), axis=1)) + first
        return rows

    def nearest_point(self, part: int, places: Floats) -> int:
        """Flat number of the wall point of a piece that lies nearest to any of the places."""
        rows = np.flatnonzero(self.part == part)
        gap = cKDTree(places).query(self.point[rows])[0]
        return int(self.row[rows[np.argmin(gap)]])


def _strewn(
    surface: Surface, rows: Ints, apart: float, box: tuple[Floats, Floats]
) -> tuple[Floats, Floats]:
    """Places on some faces, about so far apart all over a box, and the faces' normals there."""
    corner = surface.vertices[surface.faces[rows]]
    normal = _across(corner)
    normal /= np.maximum(np.linalg.norm(normal, axis=1)[:, None], 1e-300)
    farther = np.maximum(apart, _sides(corner).max(axis=1) / _MOST_CUTS)
    corner, owner = _quartered(corner, farther, box)
    normal = normal[owner]
    sides = _sides(corner)
    side = sides.max(axis=1)
    cuts = np.ceil(side / farther[owner]).clip(1).astype(np.int64)
    # A row of places does for a facet that is hardly wider than they are apart.
    slender = np.linalg.norm(_across(corner), axis=1) < apart * side
    row, owner = along_sides(corner[slender], sides[slender], apart)
    places, normals = [row], [normal[slender][owner]]
    for count in np.unique(cuts[~slender]):
        some = (cuts == count) & ~slender
        i, j = np.divmod(np.arange((count + 1) ** 2), count + 1)
        inside = i + j <= count
        share = np.column_stack([i, j, count - i - j])[inside] / count
        # A little off the corners, so that each place is surely on its own face.
        share = 0.98 * share + 0.02 / 3
        places.append((share @ corner[some]).reshape(-1, 3))
        normals.append(np.repeat(normal[some], len(share), axis=0))
    return np.concatenate(places), np.concatenate(normals)


def _quartered(corner: Floats, apart: Floats, box: tuple[Floats, Floats]) -> tuple[Floats, Ints]:
    """Large triangles cut in four again and again, and those that miss a box left out.

    Parameters
    ----------
    apart : (m,) mm; what is no longer than some of these, or hardly higher than one, is left whole

    Returns
    -------
    (k, 3, 3) mm, and the row of the triangle that each is a piece of
    """
    owner = np.arange(len(corner))
    done, owners = [], []
    while True:
        meets = _meets(corner, box)
        corner, owner = corner[meets], owner[meets]
        side = _sides(corner).max(axis=1)
        large = side > _FEW_CUTS * apart[owner]
        large &= np.linalg.norm(_across(corner), axis=1) > apart[owner] * side
        done.append(corner[~large])
        owners.append(owner[~large])
        if not large.any():
            return np.concatenate(done), np.concatenate(owners)
        whole = corner[large]
        middle = (whole + np.roll(whole, -1, axis=1)) / 2
        tips = [np.stack([whole[:, i], middle[:, i], middle[:, i - 1]], axis=1) for i in range(3)]
        corner, owner = np.concatenate([*tips, middle]), np.tile(owner[large], 4)


def _meets(corner: Floats, box: tuple[Floats, Floats]) -> NDArray[np.bool_]:
    """(m,) does the box of a triangle meet another?"""
    meets: NDArray[np.bool_] = np.all(
        (corner.min(axis=1) <= box[1]) & (corner.max(axis=1) >= box[0]), axis=1
    )
    return meets


def _sides(corner: Floats) -> Floats:
    """(m, 3) mm, length of the sides that lead to each corner from the one before it."""
    sides: Floats = np.linalg.norm(corner - np.roll(corner, 1, axis=1), axis=2)
    return sides


def _across(corner: Floats) -> Floats:
    """(m, 3) mm2, normals as long as twice the areas."""
    return np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])


def _thinned(place: Floats, normal: Floats, apart: float) -> tuple[Floats, Floats]:
    """One place a cell and direction: slender faces are strewn far too densely."""
    if len(place) == 0:
        return place, normal
    cell = np.floor(place / apart).astype(np.int64)
    cell -= cell.min(axis=0)
    turn = np.rint(normal).astype(np.int64) + 1
    key = np.ravel_multi_index((*cell.T, *turn.T), (*(cell.max(axis=0) + 1), 3, 3, 3))
    first = np.sort(np.unique(key, return_index=True)[1])
    return place[first], normal[first]
