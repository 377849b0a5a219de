"""Which raised and sunk inscriptions, codes, braille dots and lone marks does a body carry?

Islands (`relief_islands.py`) are measured, grouped into lines of characters and told from bosses,
ribs, flanges and knuckles. The border between lettering and other features stands in `is_lettering`
and `is_mark`, and in DEVELOPERS.md. Lengths in mm. Guarded by tests/geometry/test_reliefs.py and
tests/outside/test_relief_cad.py.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import quantile
from lint3d.geometry.relief_coarse import has_steps, is_coarse
from lint3d.geometry.relief_codes import Code, codes_among, within
from lint3d.geometry.relief_groups import Line, Standing, are_near, groups, lines_of
from lint3d.geometry.relief_heights import CLEAR, CLEAR_COARSE, measure_height
from lint3d.geometry.relief_islands import Island, islands
from lint3d.geometry.relief_roughness import is_rough, may_hide_relief
from lint3d.geometry.relief_shapes import Shape
from lint3d.geometry.relief_surface import Searched, surfaces_to_search
from lint3d.geometry.topology import EdgeTable

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: A character stands up by no more than this share of the height of its line ...
MOST_RISE = 0.5
#: ... and is found by at least this many crease limits (the middle one of its line).
LEAST_VOTES = 2
#: ... or has a foot of which so much turns one way.
SURE = 0.95
#: An outline that fills less of its convex hull is not convex.
CONVEX = 0.9
#: ... and one that fills less than this is no mark, but a web over half a part.
LEAST_FILL = 0.1
#: Islands whose signatures agree this well are congruent.
CONGRUENT = 0.04
#: No more than this share of the characters of a line are congruent.
MOST_CONGRUENT = 0.6
#: Words stand this much farther apart than the letters of a word may (a space of a font of equal
#: widths is as wide as its letters).
WORD_GAP = 1.6
#: The strokes of two characters differ by no more than this share, if one is convex outside.
LIKE_STROKE = 0.35
#: A character lower or higher than the rest of its line is as tall as that, within these shares.
ODD_SIZE = (0.55, 1.7)
#: A lone mark stands up by no more than this share of its size.
MARK_RISE = 0.25
#: ... and by no more than so many of its strokes: crossed ribs do.
MARK_SLENDER = 2.0
#: Dots of braille are no wider than this, mm, and no farther apart than this many diameters.
WIDEST_DOT = 3.0
LIKE_DOT = 0.15
LEAST_DOTS = 3
#: Dots that stand this much farther apart than the nearest are no neighbours of a cell: across its
#: diagonal they are 1.41 times as far.
SIDE_BY_SIDE = 1.25
#: More islands than this on one surface: the time is not spent. common practice, no source
MOST_ISLANDS = 6000
#: On a coarse bent surface: an island whose base is known no better than by this share of its
#: height (and no worse: then it is no base), and that may be a character, is not left unsaid.
UNSURE = (0.08, 0.35)
#: A counter is as deep as its character is high, within this share.
LIKE_BASE = 0.15
#: What lies below this share of an island's height, for the most part, is ground.
GROUND = 0.3
TOO_COARSE = "The facets of a bent surface are too coarse to tell whether its marks are lettering."
TOO_ROUGH = "The surface is too rough to tell relief from noise."


@dataclass(frozen=True, eq=False)
class Inscription:
    """A line of characters, raised or sunk."""

    shapes: tuple[Shape, ...]
    character: Ints
    """(k,) which character each island belongs to, in reading order or against it."""
    direction: Floats
    """(k, 3) unit, along the line."""
    character_height: float
    """mm, of the taller characters; its interval holds those of all characters of full height."""
    character_height_interval: tuple[float, float]

    @property
    def raised(self) -> bool:
        return self.shapes[0].raised

    @property
    def characters(self) -> int:
        return int(self.character.max()) + 1


@dataclass(frozen=True, eq=False)
class Dots:
    """Domes on a grid."""

    shapes: tuple[Shape, ...]
    diameter: Floats
    """(k, 3) mm: value, lower and upper end, of each foot."""
    spacing: Floats
    """(k,) mm to the nearest other dot; NaN for a dot that is alone in its cell."""


@dataclass(frozen=True, eq=False)
class Found:
    """What was found on a body."""

    inscriptions: list[Inscription] = field(default_factory=list)
    dots: list[Dots] = field(default_factory=list)
    codes: list[Code] = field(default_factory=list)
    marks: list[Shape] = field(default_factory=list)
    others: list[Shape] = field(default_factory=list)
    """Islands that are features of another kind."""
    trouble: str = ""
    """Why nothing could be told, if so."""
    searched: Searched | None = None


def find_reliefs(vertices: Floats, faces: Ints, table: EdgeTable, step_mm: float) -> Found:
    """Everything in relief on one body.

    Parameters
    ----------
    vertices : (n, 3) mm
    faces : (m, 3), looking out of the material
    table : EdgeTable of `faces`
    step_mm : what rounding of coordinates can do to a distance

    Returns
    -------
    Found
    """
    best: Found | None = None
    for searched in surfaces_to_search(vertices, faces, table, step_mm):
        found = _on_surface(searched, step_mm)
        if best is None or _tells_more(found, best):
            best = found
    return best if best is not None else Found()


def _tells_more(found: Found, best: Found) -> bool:
    """Is it worth the blur of a coarser mesh?"""
    same = len(_told_shapes(found)) == len(_told_shapes(best)) > 0
    return not same and _weight(found) > 1.1 * _weight(best)


def _weight(found: Found) -> float:
    """How much was told: the votes of all characters and dots."""
    told = sum(shape.votes for shape in _told_shapes(found))
    return told + (0.0 if found.trouble else 0.01)


def _told_shapes(found: Found) -> list[Shape]:
    told: list[Inscription | Dots | Code] = [*found.inscriptions, *found.dots, *found.codes]
    return [shape for one in told for shape in one.shapes]


def _on_surface(searched: Searched, step_mm: float) -> Found:
    folds = searched.folds
    if is_rough(folds):
        return Found(trouble=TOO_ROUGH)
    found = islands(folds)
    if len(found) > MOST_ISLANDS:
        return Found(trouble=f"There are {len(found)} raised or sunk places, too many to tell.")
    shapes = _without_ground(_measured(searched, found, step_mm), folds)
    coded, codes = _codes(shapes, _parents(shapes, len(folds.faces)))
    # What has most of a surface and is no code is a web over half a part: no marking.
    kept = [i for i, s in enumerate(shapes) if i in coded or not s.measured.island.has_most]
    shapes = [shapes[i] for i in kept]
    taken = np.array([i in coded for i in kept], bool)
    sorted_out = _sorted_out(shapes, _parents(shapes, len(folds.faces)), taken, searched)
    sorted_out.codes.extend(codes)
    if not _told_shapes(sorted_out) and may_hide_relief(folds):
        return Found(trouble=TOO_ROUGH)
    if not _told_shapes(sorted_out) and is_coarse(folds):
        untold = [*sorted_out.marks, *sorted_out.others]
        if any(_may_be_character(shape) for shape in untold) or has_steps(folds):
            return Found(trouble=TOO_COARSE)
    return sorted_out


def _may_be_character(shape: Shape) -> bool:
    """Is it like a character, on a base that is not known well?"""
    unsure = UNSURE[0] < shape.measured.base.residual / shape.height < UNSURE[1]
    low = shape.height <= MOST_RISE * shape.standing.size
    return unsure and low and LEAST_FILL < shape.fill < CONVEX


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
    free = np.flatnonzero(parent < 0)
    coded: set[int] = set()
    codes = []
    for group in groups([shapes[i].standing for i in free.tolist()]):
        rows = free[group].tolist()
        for mine, code in codes_among([shapes[i] for i in rows]):
            codes.append(code)
            coded |= {rows[k] for k in mine} | set(np.flatnonzero(within(code, shapes)).tolist())
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
    found.inscriptions[:] = [_with_inner(one, shapes, parent) for one in found.inscriptions]
    holds = np.zeros(len(shapes), bool)
    holds[parent[taken & (parent >= 0)]] = True
    for i in np.flatnonzero(~taken).tolist():
        if parent[i] >= 0 and _is_counter(shapes[i], shapes[parent[i]]):
            continue
        if not holds[i] and is_mark(shapes[i]):
            found.marks.append(shapes[i])
        else:
            found.others.append(shapes[i])
    return found


def _is_counter(shape: Shape, around: Shape) -> bool:
    """Does it reach back to the base of what is round it? (What is sunk into a pad does not.)"""
    off = abs(shape.height - around.height) - (shape.upper - shape.lower)
    return shape.raised != around.raised and off <= LIKE_BASE * around.height


def _with_inner(line: Inscription, shapes: list[Shape], parent: Ints) -> Inscription:
    """The line with what stands in the counters of its characters (the dot of a zero)."""
    row_of = {id(shape): row for row, shape in enumerate(shapes)}
    place = {row_of[id(shape)]: k for k, shape in enumerate(line.shapes)}
    counter = {i: place[p] for i, p in enumerate(parent.tolist()) if p in place}
    inner = {
        i: counter[p]
        for i, p in enumerate(parent.tolist())
        if p in counter and shapes[p].raised != line.raised and shapes[i].raised == line.raised
    }
    if not inner:
        return line
    rows = [*range(len(line.shapes)), *inner.values()]
    added = tuple(shapes[i] for i in inner)
    return replace(
        line,
        shapes=line.shapes + added,
        character=line.character[rows],
        direction=line.direction[rows],
    )


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
    domes = [i for i in rows if _is_dot(shapes[i])]
    for group in groups([_wide(shapes[i]) for i in domes]):
        members = [domes[k] for k in group.tolist()]
        dots = _dots([shapes[i] for i in members])
        if dots is not None:
            found.dots.append(dots)
            told += members
    rest = [i for i in rows if i not in set(told)]
    told += _letters([shapes[i] for i in rest], rest, found)
    return told


def _letters(shapes: list[Shape], rows: list[int], found: Found) -> list[int]:
    """Rows of those islands that are characters."""
    standing = [shape.standing for shape in shapes]
    height = np.zeros(len(shapes))
    for group in groups(standing):
        tall = _tall(shapes, group)
        if is_lettering([shapes[i] for i in group], tall):
            height[group] = tall
    told_here: list[int] = []
    # Words stand farther apart than letters do; once the height of a line is known, stops and marks
    # that stand alone are found by it.
    own = np.array([one.size for one in standing])
    for wide in groups(standing, WORD_GAP * np.maximum(height, own)):
        group = wide
        tall = float(height[wide].max())
        if not tall:
            tall = _tall(shapes, wide)
        if not is_lettering([shapes[i] for i in wide], tall):
            group = wide[height[wide] > 0]
        if not len(group):
            continue
        free = np.flatnonzero((height == 0) & ~np.isin(np.arange(len(shapes)), told_here))
        group = _with_odd_ones(shapes, group, free, tall)
        lines = lines_of(standing, group)
        # A single character of several pieces (rings in each other) is a mark.
        if max(int(line.character.max()) for line in lines) == 0 and len(lines) == 1:
            continue
        told_here += group.tolist()
        found.inscriptions.extend(_inscription(shapes, line) for line in lines)
    return [rows[i] for i in told_here]


def _with_odd_ones(shapes: list[Shape], group: Ints, free: Ints, tall: float) -> Ints:
    """A line with the characters that belong to it, though they are lower or higher than the rest.

    They stand among the others with strokes like theirs, and are as tall.
    """
    usual = float(np.nanmedian([shapes[i].strokes.usual for i in group.tolist()]))
    standing = [shape.standing for shape in shapes]
    mine = set(group.tolist())
    for i in free.tolist():
        if i in mine or shapes[i].raised != shapes[int(group[0])].raised:
            continue
        alike = abs(shapes[i].strokes.usual - usual) <= LIKE_STROKE * usual
        if not (alike and ODD_SIZE[0] * tall <= standing[i].size <= ODD_SIZE[1] * tall):
            continue
        near = [k for k in group.tolist() if are_near(standing[i], standing[k], tall)]
        if not near:
            continue
        with_it = np.append(group, i)
        for line in lines_of(standing, with_it):
            at = np.flatnonzero(line.members == i)
            if (
                len(at)
                and len(line.members) > 2
                and (line.character == line.character[at[0]]).sum() == 1
            ):
                group = with_it
                mine.add(i)
    return group


def _tall(shapes: list[Shape], group: Ints) -> float:
    """Height of the tallest line that a group would make up, mm; 0 if it spells nothing anyhow."""
    mine = [shapes[i] for i in group.tolist()]
    # Rows of holes and bosses end here, before their lines are looked for.
    if len(mine) < 2 or not any(_is_shaped(shape) for shape in mine):
        return 0.0
    lines = lines_of([shape.standing for shape in mine], np.arange(len(mine)))
    return max(_inscription(mine, line).character_height for line in lines)


def _inscription(shapes: list[Shape], line: Line) -> Inscription:
    mine = tuple(shapes[i] for i in line.members.tolist())
    height = np.array(
        [
            _character_height([mine[i] for i in rows], line.direction[rows[0]])
            for rows in (
                np.flatnonzero(line.character == c).tolist()
                for c in range(int(line.character.max()) + 1)
            )
        ]
    )
    height = np.maximum(np.nan_to_num(height), 0.0)
    # Capitals, ascenders and figures: not the small letters, nor stops and hyphens.
    tall = height[height >= 0.8 * height.max()]
    # Both ends of a character may be off.
    blur = 2 * max(shape.blur + shape.measured.base.residual for shape in mine)
    value = float(np.median(tall))
    interval = (float(tall.min()) - blur, float(tall.max()) + blur)
    return Inscription(mine, line.character, line.direction, value, interval)


def _character_height(shapes: list[Shape], way: Floats) -> float:
    """Extent of a character, made of one island or several, across its line, mm."""
    normal = shapes[0].measured.island.normal
    across = np.cross(normal, way) if way.any() else shapes[0].measured.base.axes[1]
    across = across / max(float(np.linalg.norm(across)), 1e-12)
    origin = shapes[0].measured.island.centre
    extents = np.array([shape.extent(across) for shape in shapes])
    at = np.array([(shape.measured.island.centre - origin) @ across for shape in shapes])
    return float((at + extents[:, 1]).max() - (at + extents[:, 0]).min())


def is_lettering(shapes: list[Shape], character_height: float) -> bool:
    """Is a group of islands an inscription, and not a row of bosses, ribs or teeth?

    Several islands of at least two shapes (three among six or more: rings of slots have two), one
    of them not convex, few of them congruent, all of them low against the height of the line, and
    found by more than one crease limit. Of two islands none is a plain bar or boss.
    """
    if len(shapes) < 2 or not _are_sure(shapes):
        return False
    # Of two alone less is known, as of one.
    rise = MOST_RISE if len(shapes) > 2 else MARK_RISE
    if np.median([shape.height for shape in shapes]) > rise * character_height:
        return False
    tall = [shape for shape in shapes if shape.standing.size >= 0.4 * character_height]
    # Two closed spaces make a B or an 8 of what is convex outside; a ring has one.
    if len(tall) < 2 or not any(_is_shaped(shape) for shape in tall):
        return False
    kinds = _congruent([shape.signature for shape in tall])
    most, count = np.bincount(kinds).max(), int(kinds.max()) + 1
    if count < (2 if len(tall) < 6 else 3):
        return False
    if len(tall) > 3 and most > MOST_CONGRUENT * len(tall):
        return False
    return len(tall) >= 3 or _are_a_pair(*tall)


def _are_sure(shapes: list[Shape]) -> bool:
    """Are islands found by several limits, or by feet that all turn one way?"""
    if np.median([shape.votes for shape in shapes]) >= LEAST_VOTES:
        return True
    return min(shape.measured.island.purity for shape in shapes) >= SURE


def _are_a_pair(one: Shape, two: Shape) -> bool:
    """Are two islands of one font? None is a plain boss or bar, and their strokes are alike."""
    if not all(_is_shaped(shape) or len(shape.counters) for shape in (one, two)):
        return False
    if all(shape.fill < CONVEX for shape in (one, two)):
        return True
    narrow, wide = sorted((one.strokes.usual, two.strokes.usual))
    return wide <= (1 + LIKE_STROKE) * narrow


def _is_shaped(shape: Shape) -> bool:
    return shape.fill < CONVEX or len(shape.counters) >= 2


def is_mark(shape: Shape) -> bool:
    """May a lone island be a letter or an arrow? Its outline is not convex, and it is low."""
    low = shape.height <= MARK_RISE * shape.standing.size
    low = low and not shape.height > MARK_SLENDER * shape.strokes.usual
    shaped = LEAST_FILL < shape.fill < CONVEX or len(shape.counters) > 0
    return low and shaped and _are_sure([shape])


def _congruent(signatures: list[Floats]) -> Ints:
    kinds: list[Floats] = []
    kind = np.zeros(len(signatures), np.int64)
    for row, signature in enumerate(signatures):
        same = (
            k
            for k, other in enumerate(kinds)
            if (np.abs(signature - other) <= CONGRUENT * _scale(other)).all()
        )
        kind[row] = next(same, len(kinds))
        if kind[row] == len(kinds):
            kinds.append(signature)
    return kind


def _scale(signature: Floats) -> Floats:
    """What each entry of a signature is compared with: the size, and itself where it is larger."""
    size = max(float(np.hypot(*signature[:2])), 1e-9)
    return np.maximum(signature, size)


# --- braille ------------------------------------------------------------------------------------


def _is_dot(shape: Shape) -> bool:
    return shape.raised and shape.measured.dome and shape.measured.island.across <= WIDEST_DOT


def _wide(shape: Shape) -> Standing:
    """A dot as grouping sees it: cells of braille stand several dots apart."""
    one = shape.standing
    return replace(one, cap=one.centre + 4.0 * (shape.foot - one.centre))


def _dots(shapes: list[Shape]) -> Dots | None:
    if len(shapes) < LEAST_DOTS:
        return None
    diameter = np.array([_diameter(shape) for shape in shapes])
    middle = np.median(diameter[:, 0])
    if (np.abs(diameter[:, 0] - middle) > LIKE_DOT * middle).any():
        return None
    centre = np.array([shape.measured.island.centre for shape in shapes])
    nearest = cKDTree(centre).query(centre, 2)[0][:, 1]
    in_cell = nearest <= SIDE_BY_SIDE * nearest.min()
    return Dots(tuple(shapes), diameter, np.where(in_cell, nearest, np.nan))


def _diameter(shape: Shape) -> tuple[float, float, float]:
    """Of a round foot: the circle through its corners lies outside its sides."""
    foot, island = shape.foot, shape.measured.island
    arm = foot - island.centre
    arm = arm - np.outer(arm @ island.normal, island.normal)
    radius = np.linalg.norm(arm, axis=1)
    spread = float(radius.max() - radius.min())
    side = shape.folds.vertices[island.end] - shape.folds.vertices[island.start]
    sagitta = float(np.linalg.norm(side, axis=1).max()) ** 2 / (8 * float(radius.mean()))
    value = 2 * float(radius.mean())
    return value, value - spread - 2 * shape.blur, value + spread + 2 * (sagitta + shape.blur)
