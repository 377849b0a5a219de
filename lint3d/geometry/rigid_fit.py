"""How does a shape lie on an earlier one of itself, if it was moved, turned and perhaps changed?

Several frames are tried: as it lies; moved only; principal axes on principal axes, in every order
and with every sign; and three corners on three corners with the same distances. Each is improved on
the corners that agree, so that a wall which became thinner (its corners moved, and with them the
centre and the axes a little) does not spoil the fit. A symmetric shape has several frames that are
equally good: all are handed back, and whoever knows places on the shape lets these decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.likeness import Likeness
from lint3d.geometry.rigid_frames import axis_frames, corner_frames

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Corners agree if they lie within this many mm or this share of the extent, whichever is more: the
#: noise of a re-export with few decimals. common practice, no source
_AGREE_MM, _AGREE_SHARE = 0.01, 2e-4
#: Frames that are worse than the best by less than this are equally good.
_EQUALLY_GOOD = 0.01
#: Frames that are better than this are not doubted.
_EXACT = 1e-4
_MOST_FRAMES = 24


@dataclass(frozen=True)
class Frame:
    """A rigid motion, new = old @ turn.T + shift, and how badly it fits (0 = exactly)."""

    turn: Floats
    shift: Floats
    misfit: float

    def moved(self, points: Floats) -> Floats:
        """(n, 3) points of the old shape on the new one."""
        moved: Floats = points @ self.turn.T + self.shift
        return moved

    @property
    def distance(self) -> float:
        """How far it is from no motion at all, for choosing between equals."""
        return float(np.linalg.norm(self.turn - np.eye(3)) + 1e-3 * np.linalg.norm(self.shift))


def fit(old: Likeness, new: Likeness, likely: Sequence[Frame] = ()) -> list[Frame]:
    """The frames that lay the old shape on the new one equally well, at least one.

    Those nearest to no motion stand first.

    Parameters
    ----------
    likely : frames that another body of the same file has; the first that fits exactly is taken, as
        is no motion at all, and nothing else is tried
    """
    reach = max(_AGREE_MM, _AGREE_SHARE * max(old.extent, new.extent))
    for guess in (Frame(np.eye(3), np.zeros(3), 0.0), *likely):
        frame = _judged(guess.turn, guess.shift, old, new, reach)
        if frame.misfit < _EXACT:
            return [frame]
    rough = [*axis_frames(old, new), *corner_frames(old, new, reach)]
    turns = np.array([turn for turn, _ in rough])
    shifts = np.array([shift for _, shift in rough])
    misfit = _misfits(turns, shifts, old, new, reach)
    frames: list[Frame] = [_judged(np.eye(3), np.zeros(3), old, new, reach)]
    order = np.argsort(misfit, kind="stable")
    frames.extend(
        _improved(turns[row], shifts[row], old, new, reach)
        for row in _distinct(turns, shifts, order, reach)
    )
    best = min(frame.misfit for frame in frames)
    good = [frame for frame in frames if frame.misfit <= best + _EQUALLY_GOOD]
    good.sort(key=lambda frame: (frame.misfit, frame.distance))
    kept: list[Frame] = []
    for frame in good:
        if len(kept) < _MOST_FRAMES and not any(_same(frame, one, reach) for one in kept):
            kept.append(frame)
    return sorted(kept, key=lambda frame: (round(frame.distance, 6), frame.misfit))


def _distinct(turns: Floats, shifts: Floats, order: Ints, reach: float) -> list[int]:
    """The first frames of an order that are not nearly the same."""
    kept: list[int] = []
    for row in order:
        near = np.abs(turns[kept] - turns[row]).max(axis=(1, 2)) < 0.02
        near &= np.linalg.norm(shifts[kept] - shifts[row], axis=1) < 2 * reach
        if not near.any():
            kept.append(int(row))
        if len(kept) == _MOST_FRAMES:
            break
    return kept


def unlikeness(olds: Sequence[Likeness], news: Sequence[Likeness]) -> Floats:
    """How much do shapes differ, wherever they lie: 0 = not at all, 1 = others altogether.

    The largest relative difference of area, volume and principal moments (all as mm). A shape and
    its mirror image are alike.

    Returns
    -------
    (len(olds), len(news))
    """
    ours, theirs = (np.array([_sizes(one) for one in many]) for many in (olds, news))
    if not len(ours) or not len(theirs):
        return np.zeros((len(olds), len(news)))
    apart = np.abs(ours[:, None] - theirs[None])
    larger = np.maximum(ours[:, None], theirs[None])
    # What is tiny beside the shape's own size does not count.
    larger = np.maximum(larger, 0.03 * larger[:, :, :1])
    return np.minimum(1.0, (apart / larger).max(axis=2))


def _sizes(one: Likeness) -> Floats:
    """(5,) mm: of area, volume and principal moments."""
    spread = np.sqrt(np.maximum(np.linalg.eigvalsh(one.second), 0.0))
    return np.array([np.sqrt(one.area), np.cbrt(abs(one.volume)), *spread])


def _same(one: Frame, other: Frame, reach: float) -> bool:
    near = np.abs(one.turn - other.turn).max() < 0.02
    return bool(near and np.linalg.norm(one.shift - other.shift) < 10 * reach + 0.1)


# --- how well a frame fits ------------------------------------------------------------------------


def _misfits(turns: Floats, shifts: Floats, old: Likeness, new: Likeness, reach: float) -> Floats:
    """(k,) of each frame: corners that do not agree, and moments that differ."""
    centre = np.einsum("kij,j->ki", turns, old.centre) + shifts - new.centre
    scale = max(old.extent, new.extent, 1e-12)
    back = turns.transpose(0, 2, 1)
    second = turns @ old.second @ back - new.second
    third = np.einsum("kia,abc->kibc", turns, old.third)
    third = np.einsum("kjb,kibc->kijc", turns, third) @ back[:, None] - new.third
    moments = np.linalg.norm(centre, axis=1) / scale
    moments += 12 * np.sqrt((second**2).sum(axis=(1, 2))) / scale**2
    moments += 40 * np.sqrt((third**2).sum(axis=(1, 2, 3))) / scale**3
    moments = np.minimum(moments, 1.0)
    if len(old.corners) < 4 or len(new.corners) < 4:
        return moments
    missed = np.empty(len(turns))
    for start in range(0, len(turns), 256):
        rows = slice(start, start + 256)
        placed = np.einsum("kij,nj->kni", turns[rows], old.corners) + shifts[rows, None]
        apart = np.linalg.norm(placed[:, :, None] - new.corners[None, None], axis=3) < reach
        share = (apart.any(axis=2).mean(axis=1) + apart.any(axis=1).mean(axis=1)) / 2
        missed[rows] = 1.0 - share
    result: Floats = missed + np.minimum(moments, 0.5)
    return result


def _judged(turn: Floats, shift: Floats, old: Likeness, new: Likeness, reach: float) -> Frame:
    return Frame(turn, shift, float(_misfits(turn[None], shift[None], old, new, reach)[0]))


def _improved(turn: Floats, shift: Floats, old: Likeness, new: Likeness, reach: float) -> Frame:
    """The frame laid as well as can be on the corners that agree, or on the moments without."""
    best = _judged(turn, shift, old, new, reach)
    for widen in (4.0, 2.0, 1.0):
        better = _on_corners(best, old.corners, new.corners, widen * reach)
        if better is None:
            break
        candidate = _judged(*better, old, new, reach)
        if candidate.misfit < best.misfit:
            best = candidate
    return best if len(old.corners) >= 4 else _on_moments(best, old, new, reach)


def _on_corners(
    frame: Frame, ours: Floats, theirs: Floats, reach: float
) -> tuple[Floats, Floats] | None:
    """Least squares over the pairs of corners that agree; None with fewer than three.

    References
    ----------
    W. Kabsch, Acta Cryst. A32 (1976) 922: the best rotation between two sets of points.
    """
    if len(ours) < 3 or len(theirs) < 3:
        return None
    placed = frame.moved(ours)
    apart = np.linalg.norm(placed[:, None] - theirs[None], axis=2)
    nearest = apart.argmin(axis=1)
    agree = apart.min(axis=1) < reach
    if agree.sum() < 3:
        return None
    return rigid(ours[agree], theirs[nearest[agree]])


def rigid(ours: Floats, theirs: Floats) -> tuple[Floats, Floats]:
    """Turn (3, 3) and shift (3,) that lay points (n, 3) on points (n, 3) in the least squares."""
    a, b = ours.mean(axis=0), theirs.mean(axis=0)
    u, _, vt = np.linalg.svd((ours - a).T @ (theirs - b))
    sign = np.sign(np.linalg.det(vt.T @ u.T)) or 1.0
    turn = vt.T @ np.diag([1.0, 1.0, sign]) @ u.T
    return turn, b - turn @ a


def _on_moments(frame: Frame, old: Likeness, new: Likeness, reach: float) -> Frame:
    """Small turns about each axis while the moments come nearer."""
    best, step = frame, np.radians(8.0)
    for _ in range(120):
        if step < 1e-6:
            break
        turns = np.array(
            [_small_turn(axis, way * step) @ best.turn for axis in range(3) for way in (1.0, -1.0)]
        )
        shifts = new.centre - turns @ old.centre
        misfit = _misfits(turns, shifts, old, new, reach)
        row = int(misfit.argmin())
        if misfit[row] < best.misfit:
            best = Frame(turns[row], shifts[row], float(misfit[row]))
        else:
            step /= 2
    return best


def _small_turn(axis: int, angle: float) -> Floats:
    one, other = (axis + 1) % 3, (axis + 2) % 3
    turn = np.eye(3)
    turn[one, one] = turn[other, other] = np.cos(angle)
    turn[one, other], turn[other, one] = -np.sin(angle), np.sin(angle)
    return turn
