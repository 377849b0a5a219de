"""Which raised and sunk inscriptions, codes, braille dots and lone marks does a body carry?

Islands (`relief_islands.py`) are measured, grouped into lines of characters and told from bosses,
ribs, flanges and knuckles (`relief_lines.py`, `relief_border.py`). Lengths in mm. Guarded by
tests/geometry/test_reliefs.py and tests/outside/test_relief_cad.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.doubled import doubled_faces
from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_bars import bars_among
from lint3d.geometry.relief_base import quantile
from lint3d.geometry.relief_border import is_mark, may_be_character
from lint3d.geometry.relief_coarse import has_steps, is_coarse
from lint3d.geometry.relief_codes import Code, codes_among, may_be_code, within
from lint3d.geometry.relief_dots import Dots, as_grouped, dots_of, is_dot
from lint3d.geometry.relief_groups import groups
from lint3d.geometry.relief_heights import CLEAR, CLEAR_COARSE, measure_height
from lint3d.geometry.relief_islands import Island, islands, merged
from lint3d.geometry.relief_levels import islands_by_level, islands_on_known_patches
from lint3d.geometry.relief_lines import Inscription, inscriptions_among, with_inner
from lint3d.geometry.relief_roughness import Roughness
from lint3d.geometry.relief_shapes import Shape
from lint3d.geometry.relief_surface import Searched, surfaces_to_search
from lint3d.geometry.relief_untold import untold_beside
from lint3d.geometry.topology import EdgeTable, edge_table

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: More islands than this on one surface: the time is not spent. common practice, no source
MOST_ISLANDS = 6000
#: A counter is as deep as its character is high, within this share.
LIKE_BASE = 0.15
#: What lies below this share of an island's height, for the most part, is ground.
GROUND = 0.3
#: Islands on two meshes are the same if their middles lie nearer than this share of their size,
#: and their sizes are alike up to this factor.
SAME_PLACE, LIKE_SIZE = 0.2, 1.25
TOO_COARSE = "The facets of a bent surface are too coarse to tell whether its marks are lettering."
TOO_BENT = (
    "The surface is bent too tightly to tell whether squares on it are a code: export finer facets."
)
TOO_ROUGH = "The surface is too rough to tell relief from noise."


@dataclass(frozen=True, eq=False)
class Found:
    """What was found on a body."""

    inscriptions: list[Inscription] = field(default_factory=list)
    dots: list[Dots] = field(default_factory=list)
    codes: list[Code] = field(default_factory=list)
    marks: list[Shape] = field(default_factory=list)
    bars: list[list[Shape]] = field(default_factory=list)
    """Groups of plain bars and dots that may be characters, or ribs and slots."""
    others: list[Shape] = field(default_factory=list)
    """Islands that are features of another kind."""
    untold: dict[bool, list[Floats]] = field(default_factory=lambda: {True: [], False: []})
    """By sense, raised or not: middles of what stands beside an inscription like a character of it,
    and is none that was told."""
    trouble: str = ""
    """Why nothing could be told, if so."""
    searched: Searched | None = None


def find_reliefs(
    vertices: Floats, faces: Ints, table: EdgeTable, step_mm: float, *, plain: bool = True
) -> Found:
    """Everything in relief on one body.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3), looking out of the material
    table : EdgeTable of `faces`
    step_mm : what rounding of coordinates can do to a distance
    plain : False leaves a body at once that has plain bosses, holes and pads alone: they would be
        among the `others`

    Returns
    -------
    Found
    """
    if (table.users() > 2).any():
        # A second copy of a face hides the edges round it, and says nothing.
        once = ~doubled_faces(faces)[0]
        if not once.all():
            faces = faces[once]
            table = edge_table(faces, len(vertices))
    best: Found | None = None
    for searched in surfaces_to_search(vertices, faces, table, step_mm, plain=plain):
        found = _on_surface(searched, step_mm)
        if best is None or _tells_more(found, best):
            best = found
    return best if best is not None else Found()


def _tells_more(found: Found, best: Found) -> bool:
    """Is it worth the blur of a coarser mesh?"""
    coded = _squares(found), _squares(best)
    if coded[0] != coded[1]:
        # Where a code is not read, the spaces between its squares may pass for characters.
        return coded[0] > coded[1]
    mine, others = _told_shapes(found), _told_shapes(best)
    if len(mine) == len(others) > 0:
        return False
    if len(mine) > len(others) > 0 and _are_among(others, mine):
        return True
    return _weight(found) > 1.1 * _weight(best)


def _squares(found: Found) -> int:
    """How many squares the codes have that were read."""
    return sum(code.filled.size for code in found.codes)


def _are_among(some: list[Shape], all_of: list[Shape]) -> bool:
    """Is each island the same as one of the others, found on another mesh?"""
    islands = [shape.measured.island for shape in all_of]
    tree = cKDTree(np.array([one.centre for one in islands]))
    for shape in some:
        mine = shape.measured.island
        far, row = tree.query(mine.centre)
        other = islands[int(row)]
        small, large = sorted((mine.across, other.across))
        if mine.raised != other.raised or far > SAME_PLACE * small or large > LIKE_SIZE * small:
            return False
    return True


def _weight(found: Found) -> float:
    """How much was told: the votes of all characters and dots."""
    told = sum(shape.votes for shape in _told_shapes(found))
    return told + (0.0 if found.trouble else 0.01)


def _told_shapes(found: Found) -> list[Shape]:
    told: list[Inscription | Dots | Code] = [*found.inscriptions, *found.dots, *found.codes]
    return [shape for one in told for shape in one.shapes]


def _on_surface(searched: Searched, step_mm: float) -> Found:
    folds = searched.folds
    roughness = Roughness(folds)
    if roughness.is_rough:
        return Found(trouble=TOO_ROUGH)
    found = islands(folds)
    if len(found) > MOST_ISLANDS:
        return Found(trouble=f"There are {len(found)} raised or sunk places, too many to tell.")
    shapes = _measured(searched, found, step_mm)
    by_level = searched.is_whole and islands_by_level(shapes, folds, searched.tolerance_mm)
    if by_level:
        shapes = _measured(searched, merged(found + by_level, folds), step_mm)
    sorted_out = _made_of(shapes, searched)
    if searched.is_whole and not _told_shapes(sorted_out):
        more = islands_on_known_patches(folds, searched.tolerance_mm)
        if more:
            shapes = _measured(searched, merged(found + more, folds), step_mm)
            again = _made_of(shapes, searched)
            if _told_shapes(again):
                return again
    if not _told_shapes(sorted_out) and roughness.may_hide_relief:
        return Found(trouble=TOO_ROUGH)
    if not _told_shapes(sorted_out) and is_coarse(folds):
        untold = [*sorted_out.marks, *sorted_out.others]
        if any(may_be_character(shape) for shape in untold) or has_steps(folds):
            return Found(trouble=TOO_COARSE)
    return sorted_out


def _made_of(shapes: list[Shape], searched: Searched) -> Found:
    """What islands make up."""
    folds = searched.folds
    shapes = _without_ground(shapes, folds)
    parent = _parents(shapes, len(folds.faces))
    coded, codes = _codes(shapes, parent)
    for i in {int(k) for k in parent if k >= 0} - coded:
        inner = [shapes[k] for k in np.flatnonzero(parent == i).tolist()]
        if may_be_code(shapes[i], sum(_is_counter(one, shapes[i]) for one in inner)):
            return Found(trouble=TOO_BENT)
    # What has most of a surface and is no code is a web over half a part: no marking.
    kept = [i for i, s in enumerate(shapes) if i in coded or not s.measured.island.has_most]
    shapes = [shapes[i] for i in kept]
    taken = np.array([i in coded for i in kept], bool)
    sorted_out = _sorted_out(shapes, _parents(shapes, len(folds.faces)), taken, searched)
    sorted_out.codes.extend(codes)
    for raised, middles in sorted_out.untold.items():
        lines = [one for one in sorted_out.inscriptions if one.raised == raised]
        middles.extend(untold_beside(lines, shapes, folds))
    return sorted_out


def _measured(searched: Searched, found: list[Island], step_mm: float) -> list[Shape]:
    folds = searched.folds
    bases: dict[tuple[int, int], _BasePoints] = {}
    clear = CLEAR_COARSE if is_coarse(folds) else CLEAR
    shapes = []
    for island in found:
        if island.base_patch not in bases:
            bases[island.base_patch] = _BasePoints(folds, island.base)
        # Half of what was collapsed may be left in the base: no reason for a higher degree.
        noise = max(step_mm, 0.5 * searched.tolerance_mm)
        measured = measure_height(folds, island, bases[island.base_patch].near, noise, clear)
        if measured is not None:
            shapes.append(Shape(folds, measured, searched.tolerance_mm))
    return shapes


class _BasePoints:
    """Vertices of a base with the area round each, to be asked for by place."""

    def __init__(self, folds: Folds, faces: Ints) -> None:
        rows, inverse = np.unique(folds.faces[faces], return_inverse=True)
        thirds = np.repeat(folds.area[faces] / 3, 3)
        self.area: Floats = np.bincount(inverse.ravel(), thirds).astype(np.float64)
        self.points: Floats = folds.vertices[rows]
        self.tree = cKDTree(self.points)

    def near(self, at: Floats, radius: float) -> tuple[Floats, Floats]:
        rows = self.tree.query_ball_point(at, radius)
        return self.points[rows], self.area[rows]


def _without_ground(shapes: list[Shape], folds: Folds) -> list[Shape]:
    """Without islands that are a piece of the base with others on it, cut off by coarse facets."""
    parent = _parents(shapes, len(folds.faces))
    kept = []
    for i, shape in enumerate(shapes):
        inner = [shapes[k] for k in np.flatnonzero(parent == i).tolist()]
        if sum(one.raised == shape.raised for one in inner) < 2:
            kept.append(shape)
            continue
        faces = shape.measured.island.faces
        held = np.concatenate([one.measured.island.faces for one in inner])
        rest = ~np.isin(faces, held)
        level = shape.measured.levels.mean(axis=1)[rest]
        if quantile(level, folds.area[faces[rest]], 0.5) > GROUND * shape.height:
            kept.append(shape)
    return kept


def _parents(shapes: list[Shape], face_count: int) -> Ints:
    """(k,) the smallest island that holds each one, -1 for those that stand free."""
    parent = np.full(len(shapes), -1)
    owner = np.full(face_count, -1)
    order = sorted(range(len(shapes)), key=lambda i: -len(shapes[i].measured.island.faces))
    for i in order:
        cap = shapes[i].measured.island.faces
        held = owner[cap]
        # An island may miss a few faces of a fillet that a smaller one has.
        values, count = np.unique(held[held >= 0], return_counts=True)
        if len(values) and count.max() > 0.8 * len(cap):
            parent[i] = int(values[count.argmax()])
        owner[cap] = i
    return parent


def _codes(shapes: list[Shape], parent: Ints) -> tuple[set[int], list[Code]]:
    """Fields of squares among the islands that stand free, and the rows of what lies in them."""
    free = np.flatnonzero(parent < 0).tolist()
    coded: set[int] = set()
    codes = []
    for mine, code in codes_among([shapes[i] for i in free]):
        codes.append(code)
        coded |= {free[k] for k in mine} | set(np.flatnonzero(within(code, shapes)).tolist())
    return coded, codes


def _sorted_out(shapes: list[Shape], parent: Ints, taken: Bools, searched: Searched) -> Found:
    """Lettering from the outside inward: what is inside a letter is its counter.

    `taken` are islands that are told already.
    """
    found = Found(searched=searched)
    taken = taken.copy()
    depth = _depths(parent)
    for level in range(int(depth.max(initial=-1)) + 1):
        rows = np.flatnonzero((depth == level) & ~taken)
        free = [i for i in rows.tolist() if parent[i] < 0 or not taken[parent[i]]]
        taken[[i for i in rows.tolist() if i not in set(free)]] = True
        told = _told(shapes, free, found)
        taken[told] = True
    found.inscriptions[:] = [with_inner(one, shapes, parent) for one in found.inscriptions]
    holds = np.zeros(len(shapes), bool)
    holds[parent[taken & (parent >= 0)]] = True
    rest = []
    for i in np.flatnonzero(~taken).tolist():
        if parent[i] >= 0 and _is_counter(shapes[i], shapes[parent[i]]):
            continue
        if not holds[i] and is_mark(shapes[i]):
            found.marks.append(shapes[i])
        else:
            rest.append(i)
    single = [shapes[i] for i in rest if not holds[i]]
    found.bars.extend([single[k] for k in rows] for rows in bars_among(single))
    barred = {id(shape) for group in found.bars for shape in group}
    found.others.extend(shapes[i] for i in rest if id(shapes[i]) not in barred)
    return found


def _is_counter(shape: Shape, around: Shape) -> bool:
    """Does it reach back to the base of what is round it? (What is sunk into a pad does not.)"""
    off = abs(shape.height - around.height) - (shape.upper - shape.lower)
    return shape.raised != around.raised and off <= LIKE_BASE * around.height


def _depths(parent: Ints) -> Ints:
    depth = np.zeros(len(parent), np.int64)
    at = parent.copy()
    while (at >= 0).any():
        depth += at >= 0
        at = np.where(at >= 0, parent[at], -1)
    return depth


def _told(shapes: list[Shape], rows: list[int], found: Found) -> list[int]:
    """Rows of those islands that are characters or dots; what they make up is added to `found`."""
    told: list[int] = []
    domes = [i for i in rows if is_dot(shapes[i])]
    for group in groups([as_grouped(shapes[i]) for i in domes]):
        members = [domes[k] for k in group.tolist()]
        dots = dots_of([shapes[i] for i in members])
        if dots is not None:
            found.dots.append(dots)
            told += members
    rest = [i for i in rows if i not in set(told)]
    inscriptions, mine = inscriptions_among([shapes[i] for i in rest])
    found.inscriptions.extend(inscriptions)
    told += [rest[i] for i in mine]
    return told
