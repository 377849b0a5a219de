"""Which islands stand on a base that is known, wherever their feet run?

A rounded foot of drafted walls may run out on the facets of its base, so that no crease cuts the
letter loose. Where the base is a plane, a drum, a cone or a ball, and other letters on it have told
which, everything that leaves it and stands as high as they do is seen by its level alone. Lengths
in mm. Guarded by tests/geometry/test_relief_levels.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.components import connected_groups
from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import Base, quantile
from lint3d.geometry.relief_border import LEAST_VOTES, MOST_RISE, is_no_bar
from lint3d.geometry.relief_islands import BY_LEVEL, Island, are_same, ringed
from lint3d.geometry.relief_round import RoundBase, base_below
from lint3d.geometry.relief_shapes import Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: What stands above this share of the height of a letter has left the base ...
LOW = 0.04
#: ... and above so many times what the base and the surface may be off; never above that share.
CLEAR, MOST_LOW = 3.0, 0.3
#: Between their corners, facets of a coarse base lie farther from it than their middles: a third of
#: the way across a strip is a triangle's middle, and 1.125 times as far is the middle of the strip.
DIP, MOST_FACETS = 1.2, 0.95
#: It stands as high as that letter, within this share of the height.
LIKE_HEIGHT = 0.2
#: So many bases are looked at, one sense each.
MOST_BASES = 6
#: A patch is what hangs together across edges that turn by less; smaller shares are no base.
STEEP, LEAST_SHARE = np.radians(8.0), 0.05
#: What stands on a base that no letter has told of is at least so far above it, mm.
LOW_MM = 0.02
#: The way that a patch looks is that of so many faces about its middle; it is fitted to so many
#: points, that are taken to be off by so much at least, mm. (First to few: most are none.)
FACES_ABOUT, FEW_POINTS, MOST_POINTS, LEAST_NOISE_MM = 12, 250, 1000, 1e-6


def islands_by_level(shapes: Sequence[Shape], folds: Folds, tolerance_mm: float) -> list[Island]:
    """Islands that creases do not find, or too few of them, on bases that are known.

    Parameters
    ----------
    shapes : what was found by creases
    folds : the surface that it was found on
    tolerance_mm : how far that may stray from the surface as given

    Returns
    -------
    list of Island : of some base all that stand as high as a letter there; none where the creases
        find them all
    """
    seeds = [shape for shape in shapes if _is_seed(shape)]
    seeds.sort(key=lambda shape: shape.measured.base.residual / shape.height)
    seen = np.zeros((2, len(folds.faces)), bool)
    sure = [one.measured.island for one in shapes if one.votes >= LEAST_VOTES]
    found: list[Island] = []
    bases = 0
    for seed in seeds:
        if seen[int(seed.raised), seed.measured.cap].mean() > 0.5 or bases == MOST_BASES:
            continue
        mine = _on_base_of(seed, folds, tolerance_mm, bases)
        bases += 1
        for one in mine:
            seen[int(seed.raised), one.faces] = True
        if not all(any(are_same(one, other) for other in sure) for one in mine):
            found += mine
    return found


def _is_seed(shape: Shape) -> bool:
    """May it be a letter, on a base that is known far and wide?"""
    base = shape.measured.base
    known = isinstance(base, RoundBase) or (isinstance(base, Base) and base.degree == 1)
    low = shape.height <= MOST_RISE * shape.standing.size
    return known and low and len(shape.measured.cap) > 0 and is_no_bar(shape)


def islands_on_known_patches(folds: Folds, tolerance_mm: float) -> list[Island]:
    """Islands on drums, cones, balls and noisy planes of which no letter has told.

    Parameters
    ----------
    folds : a surface on which creases find no lettering
    tolerance_mm : how far it may stray from the surface as given

    Returns
    -------
    list of Island : raised and sunk
    """
    smooth = folds.face[np.abs(folds.turn) < STEEP]
    patch = connected_groups(len(folds.faces), smooth[:, 0], smooth[:, 1])
    area = np.bincount(patch, folds.area)
    large = np.argsort(-area, kind="stable")[:MOST_BASES]
    found: list[Island] = []
    for number in large[area[large] >= LEAST_SHARE * area.sum()].tolist():
        base = _known_base_of(folds, np.flatnonzero(patch == number), tolerance_mm)
        if base is not None:
            low = max(CLEAR * (base.residual + tolerance_mm), LOW_MM)
            for raised in (True, False):
                least = low / MOST_LOW, np.inf
                found += _on_base(folds, base, raised, low, least, 2 * number + raised)
    return found


def _known_base_of(folds: Folds, faces: Ints, tolerance_mm: float) -> Base | RoundBase | None:
    """The drum, cone, ball or noisy plane that most of a patch is, seen from its middle."""
    corners, inverse = np.unique(folds.faces[faces], return_inverse=True)
    thirds = np.repeat(folds.area[faces] / 3, 3)
    share = np.bincount(inverse.ravel(), thirds).astype(np.float64)
    points = folds.vertices[corners]
    middle = folds.vertices[folds.faces[faces]].mean(axis=1)
    at = middle[np.linalg.norm(middle - middle.mean(axis=0), axis=1).argmin()]
    near = np.argsort(np.linalg.norm(middle - at, axis=1))[:FACES_ABOUT]
    normal = folds.area[faces[near]] @ folds.normal[faces[near]]
    normal = normal / max(float(np.linalg.norm(normal)), 1e-300)
    noise = max(tolerance_mm, LEAST_NOISE_MM)
    base: Base | RoundBase | None = None
    for most in (FEW_POINTS, MOST_POINTS):
        some = slice(None, None, -(-len(points) // most))
        base = base_below(points[some], share[some], at, normal, noise)
        # On a clean plane creases cut all loose; noise hides them, and not what stands far above.
        is_noisy = isinstance(base, Base) and base.degree == 1 and base.residual > noise
        if not (isinstance(base, RoundBase) or is_noisy):
            return None
    return base


def _on_base_of(seed: Shape, folds: Folds, tolerance_mm: float, number: int) -> list[Island]:
    """All that stands on the base of a letter as high as that does."""
    base = seed.measured.base
    assert isinstance(base, Base | RoundBase)
    dip = DIP * _facet_rise(folds, seed.measured.island.base, base)
    low = max(LOW * seed.height, CLEAR * (base.residual + tolerance_mm), dip)
    if low > MOST_LOW * seed.height:
        return []
    like = (1 - LIKE_HEIGHT) * seed.height, (1 + LIKE_HEIGHT) * seed.height
    return _on_base(folds, base, seed.raised, low, like, number)


def _facet_rise(folds: Folds, faces: Ints, base: Base | RoundBase) -> float:
    """How far the middles of facets lie from the base whose corners they share, mm."""
    middle = folds.vertices[folds.faces[faces]].mean(axis=1)
    return quantile(np.abs(base.height(middle)), folds.area[faces], MOST_FACETS)


def _on_base(
    folds: Folds,
    base: Base | RoundBase,
    raised: bool,
    low: float,
    high: tuple[float, float],
    number: int,
) -> list[Island]:
    """What rises above `low` and reaches no less and no more than `high`, mm."""
    sign = 1.0 if raised else -1.0
    level = (sign * base.foot(folds.vertices)[1])[folds.faces]
    highest, lowest = level.max(axis=1), level.min(axis=1)
    # What stands, and what does not, in pieces that hang together.
    stands = highest > low
    same = stands[folds.face[:, 0]] == stands[folds.face[:, 1]]
    piece = connected_groups(len(folds.faces), folds.face[same, 0], folds.face[same, 1])
    count = int(piece.max()) + 1
    top, bottom = np.full(count, -np.inf), np.full(count, np.inf)
    np.maximum.at(top, piece, highest)
    np.minimum.at(bottom, piece, lowest)
    area = np.bincount(piece, folds.area, count).astype(np.float64)
    up = np.zeros(count, bool)
    up[piece] = stands
    # A wall that leads down beyond the base is the side of the body.
    border = np.flatnonzero(~same)
    pair = folds.face[border]
    outer = np.where(stands[pair[:, 0]], 1, 0)
    rows = np.arange(len(border))
    inside, beyond = pair[rows, 1 - outer], pair[rows, outer]
    falls = np.zeros(count, bool)
    falls[piece[inside[lowest[beyond] < -low]]] = True
    kept = up & (top >= high[0]) & (top <= high[1]) & (bottom >= -low) & ~falls
    if not kept.any():
        return []
    ground = np.bincount(piece, folds.area * (np.abs(level).max(axis=1) <= low), count)
    main = int(np.where(up, -1.0, ground).argmax())
    holder = _holders(kept, main, piece[inside], piece[beyond], area)
    on_base = np.flatnonzero((piece == main) & (np.abs(level).max(axis=1) <= low))
    found = []
    for k in np.flatnonzero(kept).tolist():
        faces = np.flatnonzero((piece == k) | (holder[piece] == k))
        one = ringed(folds, faces, on_base, raised, (BY_LEVEL, number))
        if one is not None:
            found.append(one)
    return found


def _holders(kept: Bools, main: int, upper: Ints, lower: Ints, area: Floats) -> Ints:
    """(count,) the island in a closed space of which each piece lies, -1 for none.

    `upper` and `lower` are the pieces above and below each edge between what stands and what not.
    """
    holder = np.full(len(kept), -1)
    use = kept[upper] & (lower != main)
    # Of several islands round a space the largest holds it, and what stands in it.
    order = np.argsort(area[upper[use]], kind="stable")
    holder[lower[use][order]] = upper[use][order]
    on_main = np.zeros(len(kept), bool)
    on_main[upper[lower == main]] = True
    inner = use & ~on_main[upper]
    stands_in = np.full(len(kept), -1)
    stands_in[upper[inner]] = holder[lower[inner]]
    holder = np.where((stands_in >= 0) & (stands_in != np.arange(len(kept))), stands_in, holder)
    return holder
