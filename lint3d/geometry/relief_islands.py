"""Which parts of a surface stand on a smooth face, or are sunk into it, inside its outline?

An *island* hangs on one patch (`patches.py`) and meets it along a *foot* that runs round a hole of
that patch. It is raised where the foot is concave, sunk where it is convex. No crease limit suits
all shapes: several are tried, and an island that more of them find is surer. Whether an island is
lettering is not asked here. Lengths in mm. Guarded by tests/geometry/test_reliefs.py.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.patches import (
    Cut,
    Folds,
    Hanging,
    hanging_parts,
    smooth_patches,
    vector_area,
)
from lint3d.geometry.vectors import means_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Crease limits that are tried: plain angles for sharp feet, and angles weighed against the size of
#: the facets, which cut fillets and small domes loose and leave large curved faces whole.
CUTS = (
    Cut(np.radians(35.0)),
    Cut(np.radians(20.0)),
    Cut(np.radians(35.0), np.radians(9.0), 0.4),
    Cut(np.radians(35.0), np.radians(7.0), 0.6),
    Cut(np.radians(35.0), np.radians(5.0), 1.0),
    Cut(np.radians(35.0), np.radians(3.0), 2.5),
)
#: ... and for bent surfaces of few facets, and edges of a base: both turn nearly as sharply as
#: walls do.
COARSE_CUTS = (Cut(np.radians(50.0)), Cut(np.radians(60.0)))
#: ... and for letters that run over an edge: wide faces on both sides of it are one base. How wide
#: they are beside walls and strokes is not known, so that one of these is worth two others.
OVER_EDGES = tuple(Cut(np.radians(35.0), over=np.radians(80.0), wide=w) for w in (0.8, 2.5, 8.0))
FIRST_OVER_EDGES = len(CUTS + COARSE_CUTS)
#: What is found by its level above a base that is known (`relief_levels.py`) is as sure as those.
BY_LEVEL = len(CUTS + COARSE_CUTS + OVER_EDGES)
#: How much of the foot must turn the same way.
SAME_WAY = 0.9
#: The base's normals along the foot must agree this well: length of their mean. The rim of a drum
#: has 0; round a glyph on a ball that spans 80 degrees it is 0.88, round a square code there 0.72.
COHERENT = 0.65
#: An island with most patches of a surface (a field of squares) has no more than this share of it.
MOST_AREA = 0.75
#: A base smaller than this share of the footprint is a strip (a fillet), and no base.
LEAST_BASE = 0.5
#: An island is no relief if it stands up by more than this share of its footprint's diameter.
MOST_HEIGHT = 1.2
#: Smaller footprints (mm across) are crumbs of facetting.
LEAST_ACROSS = 0.2
#: Two islands whose boxes agree this well (common volume over joint volume) are one.
SAME_BOX = 0.5
#: ... and so are two that have this share of their surface in common.
SAME_SURFACE = 0.85
#: A foot that turns the right way this far is sure; an island of a less sure foot is none if sure
#: ones take up this share of it.
PURE, HEAP = 0.98, 0.2
#: An island that consists of others by this share is a heap of them.
MADE_OF = 0.6


@dataclass(frozen=True, eq=False)
class Island:
    """One raised or sunk part of a surface."""

    raised: bool
    faces: Ints
    """Faces of the surface that was searched."""
    base: Ints
    """Faces of the patch that it stands on."""
    start: Ints
    """Vertices along the foot: edge i runs from `start[i]` to `end[i]`, the base on its left."""
    end: Ints
    normal: Floats
    """(3,) mean normal of the base along the foot."""
    centre: Floats
    """(3,) middle of the foot, mm."""
    footprint: float
    """Area inside the foot, mm2."""
    across: float
    """Longest way across the foot's box, mm."""
    rise: float
    """How far it reaches from the middle of the foot along the normal, mm, positive."""
    low: Floats
    high: Floats
    """(3,) box of its faces."""
    purity: float
    """Share of the foot that turns the right way."""
    base_patch: tuple[int, int]
    """Crease limit and number of the patch: islands that share it stand on one base."""
    cuts: tuple[int, ...]
    """Which crease limits find it."""
    has_most: bool = False
    """Most patches of the surface belong to it, and little is left of its base: a field of squares,
    or a web over half a part."""

    @property
    def votes(self) -> int:
        """How many crease limits find it; one that finds it over an edge counts twice."""
        return len(self.cuts) + (self.cuts[-1] >= FIRST_OVER_EDGES)


def islands(folds: Folds, cuts: tuple[Cut, ...] | None = None) -> list[Island]:
    """Islands that at least one crease limit finds, each once, with its votes.

    Parameters
    ----------
    folds : angles of a surface
    cuts : crease limits to try; by default those that suit the surface

    Returns
    -------
    list of Island : the order follows the first limit that found each
    """
    if cuts is None:
        cuts = CUTS + COARSE_CUTS + OVER_EDGES
    distinct: list[tuple[Cut, NDArray[np.bool_], list[int]]] = []
    for number, cut in enumerate(cuts):
        crease = cut.of(folds)
        alike = (one for one in distinct if not cut.over and np.array_equal(one[1], crease))
        same = next(alike, None)
        if same is None:
            distinct.append((cut, crease, [number]))
        else:
            same[2].append(number)
    found = []
    known: list[tuple[NDArray[np.bool_], Ints]] = []
    for cut, crease, numbers in distinct:
        # Limits that differ beyond their edges alone share their patches, which take long.
        patch = next((patch for one, patch in known if np.array_equal(one, crease)), None)
        if patch is None:
            patch = smooth_patches(folds, crease)
            known.append((crease, patch))
        parts = hanging_parts(folds, cut, patch)
        found += _islands_of(parts, tuple(numbers), over_edges=cut.over > 0)
    return merged(found, folds)


def _islands_of(parts: Hanging, cuts: tuple[int, ...], *, over_edges: bool = False) -> list[Island]:
    """The islands among some parts; `over_edges` keeps those that run over an edge alone."""
    if not len(parts):
        return []
    folds = parts.folds
    count = len(parts)
    owner = np.repeat(np.arange(count), np.diff(parts.foot_start))
    edge, column = parts.foot, parts.on_base
    length, turn = folds.length[edge], folds.turn[edge]
    total = np.bincount(owner, length, count)
    concave = np.bincount(owner, length * (turn < 0), count) / np.maximum(total, 1e-300)
    normals = folds.normal[folds.face[edge, column]]
    mean = (
        np.column_stack([np.bincount(owner, normals[:, k] * length, count) for k in range(3)])
        / np.maximum(total, 1e-300)[:, None]
    )
    coherent = np.linalg.norm(mean, axis=1)
    mean /= np.maximum(coherent, 1e-300)[:, None]
    # With the base on its left, the foot runs backwards round a hole of the base.
    start = np.where(column == 0, folds.start[edge], folds.end[edge])
    end = np.where(column == 0, folds.end[edge], folds.start[edge])
    middle = means_of(folds.vertices[start], owner, length, count)
    area = vector_area(
        folds.vertices[start] - middle[owner], folds.vertices[end] - middle[owner], owner, count
    )
    footprint = -np.einsum("ij,ij->i", area, mean)
    base_area = np.bincount(parts.patch, folds.area)[parts.base]
    purity = np.maximum(concave, 1 - concave)
    is_few = parts.last - parts.first < len(parts.order) // 2 + 8
    has_base = base_area >= LEAST_BASE * footprint
    good = (
        (purity >= SAME_WAY)
        & (coherent >= COHERENT)
        & (footprint > LEAST_ACROSS**2 / 4)
        & (has_base | ~is_few)
        & (is_few | _is_small(parts))
        & (parts.over_edge | (not over_edges))
    )
    found = []
    for part in np.flatnonzero(good).tolist():
        rows = slice(parts.foot_start[part], parts.foot_start[part + 1])
        one = _island(
            folds, parts.faces(part), parts.base_faces(part), start[rows], end[rows], mean[part],
            float(coherent[part]), middle[part], concave[part] > 0.5, footprint[part],
            purity[part], (cuts[0], int(parts.base[part])), cuts,
            has_most=not (is_few[part] or has_base[part]),
        )  # fmt: skip
        if one is not None:
            found.append(one)
    return found


def _is_small(parts: Hanging) -> NDArray[np.bool_]:
    """(parts,) does it leave some of the area to the rest?"""
    patch_area = np.bincount(parts.patch, parts.folds.area, len(parts.order))
    area = np.concatenate([[0.0], np.cumsum(patch_area[parts.order])])
    small: NDArray[np.bool_] = area[parts.last] - area[parts.first] < MOST_AREA * area[-1]
    return small


def ringed(
    folds: Folds, faces: Ints, base: Ints, raised: bool, base_patch: tuple[int, int]
) -> Island | None:
    """The island that consists of some faces, whatever way the edges round it turn.

    Parameters
    ----------
    folds : angles of a surface
    faces : of the island, with what is inside it
    base : faces of what it stands on
    raised : its sense
    base_patch : limit that finds it, and number of the base

    Returns
    -------
    Island, or None if it is too tall or leans to the wrong side
    """
    mine = np.zeros(len(folds.faces), bool)
    mine[faces] = True
    inside = mine[folds.face]
    edge = np.flatnonzero(inside[:, 0] != inside[:, 1])
    if not len(edge):
        return None
    column = np.where(inside[edge, 0], 1, 0)
    length = folds.length[edge]
    mean = length @ folds.normal[folds.face[edge, column]] / max(length.sum(), 1e-300)
    coherent = float(np.linalg.norm(mean))
    if coherent < COHERENT:
        return None
    normal = mean / coherent
    start = np.where(column == 0, folds.start[edge], folds.end[edge])
    end = np.where(column == 0, folds.end[edge], folds.start[edge])
    one = np.zeros(len(edge), np.int64)
    centre = means_of(folds.vertices[start], one, length, 1)[0]
    arms = folds.vertices[start] - centre, folds.vertices[end] - centre
    footprint = -float(vector_area(*arms, one, 1)[0] @ normal)
    if footprint <= LEAST_ACROSS**2 / 4:
        return None
    return _island(
        folds, faces, base, start, end, normal, coherent, centre, raised, footprint, 1.0,
        base_patch, (base_patch[0],), has_most=False,
    )  # fmt: skip


def _island(
    folds: Folds,
    faces: Ints,
    base: Ints,
    start: Ints,
    end: Ints,
    normal: Floats,
    coherent: float,
    centre: Floats,
    raised: bool,
    footprint: float,
    purity: float,
    base_patch: tuple[int, int],
    cuts: tuple[int, ...],
    *,
    has_most: bool,
) -> Island | None:
    """The island with its extent, or None if it is too tall or leans to the wrong side."""
    foot = folds.vertices[start]
    across = float(np.linalg.norm(np.ptp(foot, axis=0)))
    if across < LEAST_ACROSS or len(start) < 3:
        return None
    corner = folds.vertices[folds.faces[faces]].reshape(-1, 3)
    level = (corner - centre) @ normal
    dip = np.ptp((foot - centre) @ normal)
    up, down = level.max(), -level.min()
    rise, wrong = (up, down) if raised else (down, up)
    # A round foot is level, and the base within it, a counter's floor, may yet lie elsewhere: by
    # its bow, beyond the highest place of the foot.
    bow = across / 2 * float(np.tan(np.arccos(min(coherent, 1.0)) / 2))
    stray = max(dip + bow, 0.25 * rise) + 1e-9
    if rise <= 0 or rise > MOST_HEIGHT * across + max(dip, bow) or wrong > stray:
        return None
    return Island(
        raised=bool(raised),
        faces=faces,
        base=base,
        start=start,
        end=end,
        normal=normal,
        centre=centre,
        footprint=float(footprint),
        across=across,
        rise=float(rise),
        low=corner.min(axis=0),
        high=corner.max(axis=0),
        purity=float(purity),
        base_patch=base_patch,
        cuts=cuts,
        has_most=bool(has_most),
    )


def merged(found: list[Island], folds: Folds) -> list[Island]:
    """Each island once: the one with the purest foot, with the votes of all that are the same."""
    kept: list[list[Island]] = []
    cells: dict[tuple[int, ...], list[int]] = {}
    for one in found:
        match = next((k for k in _near(cells, one) if are_same(kept[k][0], one)), None)
        if match is None:
            cells.setdefault(_cell(one), []).append(len(kept))
            kept.append([one])
        else:
            kept[match].append(one)
    best = [_best(group) for group in kept]
    found = [_best(group) for group in _by_surface(best, folds)]
    return _without_heaps(_without_sums(found, folds), folds)


def _without_sums(found: list[Island], folds: Folds) -> list[Island]:
    """Without islands that are several others and little else: facets between them that stray."""
    area = [float(folds.area[one.faces].sum()) for one in found]
    order = sorted(range(len(found)), key=lambda i: area[i])
    # The largest island of each sense, so far, that each face belongs to.
    top = np.full((2, len(folds.faces)), -1)
    kept = []
    for i in order:
        one = found[i]
        sense = int(one.raised)
        held = top[sense, one.faces]
        parts = np.unique(held[held >= 0])
        # Each of the parts lies wholly inside, and they make up the whole.
        sure = [k for k in parts.tolist() if found[k].votes >= one.votes]
        if len(sure) > 1 and sum(area[k] for k in sure) >= MADE_OF * area[i]:
            continue
        top[sense, one.faces] = i
        kept.append(i)
    return [found[i] for i in sorted(kept)]


def _without_heaps(found: list[Island], folds: Folds) -> list[Island]:
    """Without islands of doubtful foot that hold sure ones: slivers string neighbours together."""
    sure = np.zeros((2, len(folds.faces)), bool)
    for one in found:
        if one.purity >= PURE:
            sure[int(one.raised), one.faces] = True
    kept = []
    for one in found:
        area = folds.area[one.faces]
        held = area[sure[int(one.raised), one.faces]].sum()
        if one.purity >= PURE or held < HEAP * area.sum():
            kept.append(one)
    return kept


def _by_surface(found: list[Island], folds: Folds) -> list[list[Island]]:
    """Islands that are nearly the same part of the surface, though their boxes differ.

    A chain of slivers may hang on an island like a thread.
    """
    area = [float(folds.area[one.faces].sum()) for one in found]
    owner = np.full(len(folds.faces), -1)
    group = np.arange(len(found))
    for i in sorted(range(len(found)), key=lambda k: -area[k]):
        faces = found[i].faces
        held = owner[faces]
        if (held >= 0).any():
            share = np.bincount(held[held >= 0], folds.area[faces][held >= 0])
            j = int(share.argmax())
            same = share[j] > SAME_SURFACE * area[i] and area[i] > SAME_SURFACE * area[j]
            if same and found[i].raised == found[j].raised:
                group[i] = group[j]
        owner[faces] = i
    return [[found[k] for k in np.flatnonzero(group == g)] for g in np.unique(group)]


def _cell(one: Island) -> tuple[int, ...]:
    # Boxes that agree by half have middles nearer than half their size: three cells a way suffice.
    size = 2.0 ** np.ceil(np.log2(np.linalg.norm(one.high - one.low)))
    return (int(np.log2(size)), *np.floor((one.low + one.high) / 2 / size).astype(int).tolist())


def _near(cells: dict[tuple[int, ...], list[int]], one: Island) -> list[int]:
    exponent = _cell(one)[0]
    found: list[int] = []
    for level in (exponent - 1, exponent, exponent + 1):
        x, y, z = np.floor((one.low + one.high) / 2 / 2.0**level).astype(int).tolist()
        for dx in (-1, 0, 1):
            for dy in (-1, 0, 1):
                for dz in (-1, 0, 1):
                    found += cells.get((level, x + dx, y + dy, z + dz), [])
    return sorted(found)


def are_same(a: Island, b: Island) -> bool:
    """Do the boxes of two islands of one sense agree?"""
    if a.raised != b.raised or a.normal @ b.normal < 0.7:
        return False
    # A little is added all round, for flat boxes have no volume.
    pad = 0.05 * max(a.across, b.across)
    common = np.minimum(a.high, b.high) - np.maximum(a.low, b.low) + pad
    if (common <= 0).any():
        return False
    both = common.prod()
    joint = (a.high - a.low + pad).prod() + (b.high - b.low + pad).prod() - both
    return bool(both >= SAME_BOX * joint)


def _best(group: list[Island]) -> Island:
    best = max(group, key=lambda one: (one.purity >= 0.995, one.footprint))
    cuts = tuple(sorted({cut for one in group for cut in one.cuts}))
    return replace(best, cuts=cuts, has_most=all(one.has_most for one in group))
