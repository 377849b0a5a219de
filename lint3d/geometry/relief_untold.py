"""Does something stand beside an inscription that looks like a character of it, and was not told?

Where a rounded foot runs out on facets, a letter may not be cut loose. Its cap stands beside the
others all the same, at their height. Lengths in mm. Guarded by
tests/geometry/test_relief_untold.py.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from lint3d.geometry.components import connected_groups
from lint3d.geometry.patches import Folds
from lint3d.geometry.relief_base import Base
from lint3d.geometry.relief_folded import FoldedBase
from lint3d.geometry.relief_heights import CAP_LEAN
from lint3d.geometry.relief_lines import Inscription
from lint3d.geometry.relief_shapes import Shape

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: So far from a character, in heights of the line, one of the same word may begin ...
REACH = 1.0
#: ... and a fitted polynomial is believed, in reaches of the foot.
BELIEVED = 1.5
#: A cap stands as high as those of its line, within this share of the height.
LIKE_HEIGHT = 0.2
#: It is as large as they are: its longest way, in heights of the line, and its area, as a share of
#: the smallest letter's cap.
LIKE_SIZE, LIKE_AREA = (0.4, 1.8), 0.3
#: A surface that goes on beyond what was looked at, across an edge that turns by less, is no cap.
GOES_ON = np.radians(15.0)


def untold_beside(
    lines: Sequence[Inscription], islands: Sequence[Shape], folds: Folds
) -> list[Floats]:
    """Middle of each cap beside an inscription that is like its own, and on no island.

    Parameters
    ----------
    lines : the inscriptions of a surface
    islands : everything that was told from its base there, whatever it is
    folds : angles of the surface

    Returns
    -------
    list of (3,) mm
    """
    if not lines:
        return []
    free = np.ones(len(folds.faces), bool)
    for one in islands:
        free[one.measured.island.faces] = False
    rows = np.flatnonzero(free)
    if not len(rows):
        return []
    middle = folds.vertices[folds.faces[rows]].mean(axis=1)
    tree = cKDTree(middle)
    caps = [faces for line in lines for faces in _beside(line, folds, rows, middle, tree)]
    # Two lines may have the same neighbour.
    own = {int(faces.min()): faces for faces in caps}
    return [folds.vertices[folds.faces[faces]].mean(axis=(0, 1)) for faces in own.values()]


def _beside(
    line: Inscription, folds: Folds, rows: Ints, middle: Floats, tree: cKDTree
) -> list[Ints]:
    tall = line.overall_height
    letters = [shape for shape in line.shapes if shape.standing.size >= LIKE_SIZE[0] * tall]
    like = np.zeros(len(rows), bool)
    for shape in letters:
        near = np.array(tree.query_ball_point(shape.standing.centre, (REACH + 1.0) * tall), int)
        like[near[_as_high(shape, folds, rows[near], middle[near])]] = True
    caps = rows[like]
    if not len(caps):
        return []
    number = np.full(len(folds.faces), -1)
    number[caps] = np.arange(len(caps))
    pair = number[folds.face]
    inner = (pair >= 0).all(axis=1)
    group = connected_groups(len(caps), pair[inner, 0], pair[inner, 1])
    count = int(group.max()) + 1
    goes_on = np.zeros(count, bool)
    border = ((pair >= 0).sum(axis=1) == 1) & (np.abs(folds.turn) < GOES_ON)
    goes_on[group[pair[border].max(axis=1)]] = True
    area = np.bincount(group, folds.area[caps], count)
    least = LIKE_AREA * min(float(folds.area[one.measured.cap].sum()) for one in letters)
    found = []
    for k in np.flatnonzero(~goes_on & (area >= least)).tolist():
        faces = caps[group == k]
        across = float(np.linalg.norm(np.ptp(folds.vertices[folds.faces[faces]], axis=(0, 1))))
        if LIKE_SIZE[0] * tall <= across <= LIKE_SIZE[1] * tall:
            found.append(faces)
    return found


def _as_high(shape: Shape, folds: Folds, faces: Ints, middle: Floats) -> Bools:
    """Which faces look as the base does, and stand as high above it as an island?"""
    if not len(faces):
        return np.zeros(0, bool)
    base, island = shape.measured.base, shape.measured.island
    if isinstance(base, FoldedBase):
        level, below = base.planes.foot(middle)
    else:
        _, level, below = base.foot(middle)
    high = level if island.raised else -level
    like: Bools = np.abs(high - shape.height) <= LIKE_HEIGHT * shape.height
    like &= np.einsum("ij,ij->i", folds.normal[faces], below) >= CAP_LEAN
    if isinstance(base, Base) and base.degree > 1:
        reach = np.linalg.norm(shape.foot - island.centre, axis=1).max()
        like &= np.linalg.norm(middle - island.centre, axis=1) <= BELIEVED * reach
    return like
