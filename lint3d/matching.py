"""Is this the same place as in an earlier report, in spite of moves, re-export and new names?

Bodies first, by name and by what they are known by (`geometry/likeness.py`); then each earlier body
is laid on its new self (`geometry/rigid_fit.py`); then places of one rule on one body are paired,
each with one other at most and so that the distances are smallest, if they lie within 0.5 mm or 2 %
of the body's extent, whichever is larger. The order of results, bodies or files plays no part.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.likeness import Likeness
from lint3d.geometry.rigid_fit import Frame, fit
from lint3d.inspection import Result
from lint3d.matching_bodies import NEVER, Key, assigned, pair_bodies
from lint3d.snapshot import Snapshot

Floats = NDArray[np.float64]
#: Rule, file and body as the earlier report names them.
Group = tuple[str, str, str | None]

#: Places within so many mm, or this share of the body's extent, are the same.
NEAR_MM, NEAR_SHARE = 0.5, 0.02
#: Regions whose middles are within this share of the smaller one's extent are the same, if nothing
#: nearer is. common practice, no source
WIDE_SHARE = 0.1
#: Above this number of pairs within one group, only the nearest are looked at.
_MANY = 1_000_000
_STILL = Frame(np.eye(3), np.zeros(3), 0.0)


@dataclass
class Matching:
    """Which results of two reports are the same."""

    pairs: list[tuple[Result, Result]]
    """Earlier and new"""
    gone: list[Result]
    """Of the earlier report only"""
    came: list[Result]
    """Of the new report only"""
    bodies: dict[Key, Key] = field(default_factory=dict)
    """Earlier body of each new one"""


def match(old: Snapshot, new: Snapshot) -> Matching:
    """Pair the results of two reports."""
    bodies = pair_bodies(old.shapes, new.shapes)
    return _Matcher(old, new, bodies).matching()


class _Matcher:
    """Pairs the results of two reports whose bodies are paired."""

    def __init__(self, old: Snapshot, new: Snapshot, bodies: dict[Key, Key]) -> None:
        self._old, self._new, self._bodies = old, new, bodies
        self._files = _paired_files(old, new, bodies)
        self._frames: dict[tuple[str, str | None], Frame] = {}
        self._reach: dict[tuple[str, str | None], float] = {}

    def matching(self) -> Matching:
        """All pairs, and what is left."""
        ours: dict[Group, list[Result]] = defaultdict(list)
        theirs: dict[Group, list[Result]] = defaultdict(list)
        for result in sorted(self._old.results, key=Result.sort_key):
            ours[result.rule, result.uri, result.body].append(result)
        for result in sorted(self._new.results, key=Result.sort_key):
            theirs[self._group(result)].append(result)
        self._lay_bodies(ours, theirs)
        pairs: list[tuple[Result, Result]] = []
        for group in sorted(ours.keys() & theirs.keys(), key=str):
            pairs += self._pairs(group, ours[group], theirs[group])
        paired = {id(result) for pair in pairs for result in pair}
        return Matching(
            pairs,
            [result for result in self._old.results if id(result) not in paired],
            [result for result in self._new.results if id(result) not in paired],
            self._bodies,
        )

    def _group(self, result: Result) -> Group:
        """What the earlier report would call the rule's subject."""
        uri = self._files.get(result.uri, result.uri)
        if result.body is None:
            return (result.rule, uri, None)
        return (result.rule, *self._bodies.get((result.uri, result.body), ("\0", result.body)))

    # Frames

    def _lay_bodies(
        self, ours: dict[Group, list[Result]], theirs: dict[Group, list[Result]]
    ) -> None:
        """Lay each earlier body on its new self; where several ways are as good, let the places
        decide."""
        groups: dict[tuple[str, str | None], list[Group]] = defaultdict(list)
        for group in ours.keys() & theirs.keys():
            groups[group[1:]].append(group)
        likely: dict[str, list[Frame]] = defaultdict(list)
        largest: dict[str, tuple[float, Key]] = {}
        for new_key, old_key in sorted(self._bodies.items(), key=lambda pair: pair[1]):
            old, new = self._old.shapes[old_key], self._new.shapes[new_key]
            self._reach[old_key] = _reach(old, new)
            if old is None or new is None:
                self._frames[old_key] = _STILL
                continue
            frames = fit(old, new, likely[old_key[0]])
            about = [(ours[g], theirs[g]) for g in sorted(groups[old_key], key=str)]
            self._frames[old_key] = _best(frames, about, self._reach[old_key])
            if len(frames) == 1 and len(likely[old_key[0]]) < 8:
                likely[old_key[0]].append(frames[0])
            largest[old_key[0]] = max(largest.get(old_key[0], (0.0, old_key)), (old.area, old_key))
        for uri, (_, key) in largest.items():
            self._frames[uri, None] = self._frames[key]
            self._reach[uri, None] = self._reach[key]

    def _pairs(
        self, group: Group, ours: list[Result], theirs: list[Result]
    ) -> list[tuple[Result, Result]]:
        subject = group[1:]
        frame = self._frames.get(subject, _STILL)
        reach = self._reach.get(subject, NEAR_MM)
        pairs = _near_pairs(ours, theirs, frame, reach)
        taken = {id(result) for pair in pairs for result in pair}
        left = [result for result in ours if id(result) not in taken]
        free = [result for result in theirs if id(result) not in taken]
        wide = _wide_pairs(left, free, frame)
        taken = {id(result) for pair in wide for result in pair}
        left = [result for result in left if id(result) not in taken]
        free = [result for result in free if id(result) not in taken]
        return pairs + wide + _placeless_pairs(left, free)


def _paired_files(old: Snapshot, new: Snapshot, bodies: dict[Key, Key]) -> dict[str, str]:
    """The earlier name of each file: that of most of its bodies, else of the same bytes."""
    votes: dict[str, Counter[str]] = defaultdict(Counter)
    for (uri, _), (earlier, _) in bodies.items():
        votes[uri][earlier] += 1
    found = {
        uri: min(count, key=lambda name: (-count[name], name != uri, name))
        for uri, count in votes.items()
    }
    by_digest = {digest: uri for uri, digest in sorted(old.digests.items()) if digest}
    for uri, digest in new.digests.items():
        if uri not in found and uri not in old.digests and digest in by_digest:
            found[uri] = by_digest[digest]
    return found


def _reach(old: Likeness | None, new: Likeness | None) -> float:
    """mm within which places are the same, on a body."""
    sides = [float((one.high - one.low).max()) for one in (old, new) if one is not None]
    return max(NEAR_MM, NEAR_SHARE * min(sides)) if sides else NEAR_MM


def _best(
    frames: list[Frame], about: Iterable[tuple[list[Result], list[Result]]], reach: float
) -> Frame:
    """The frame in which most places find their like; the first of equals."""
    if len(frames) == 1:
        return frames[0]
    about = list(about)

    def merit(frame: Frame) -> tuple[int, float]:
        number, distance = 0, 0.0
        for ours, theirs in about:
            placed = _placed(ours), _placed(theirs)
            if not placed[0] or not placed[1]:
                continue
            cost = _costs(*placed, frame, reach)
            pairs = assigned(cost)
            number += len(pairs)
            distance += float(sum(cost[pair] for pair in pairs))
        return (-number, round(distance / reach, 3))

    return min(frames, key=merit)


def _placed(results: Iterable[Result]) -> list[Result]:
    return [result for result in results if result.position is not None]


def _near_pairs(
    ours: list[Result], theirs: list[Result], frame: Frame, reach: float
) -> list[tuple[Result, Result]]:
    """Places that lie near each other."""
    ours, theirs = _placed(ours), _placed(theirs)
    if not ours or not theirs:
        return []
    if len(ours) * len(theirs) > _MANY:
        return _greedy_pairs(ours, theirs, frame, reach)
    cost = _costs(ours, theirs, frame, reach)
    return [(ours[row], theirs[column]) for row, column in assigned(cost)]


def _costs(ours: list[Result], theirs: list[Result], frame: Frame, reach: float) -> Floats:
    """(n, m) mm apart, a little more for another verdict; what is too far apart is ruled out.

    The nearer of two distances counts: between the worst points, and between the middles of the
    regions. A uniform wall's worst point is chance; a growing region's middle moves.
    """
    points = frame.moved(_points(ours)), _points(theirs)
    middles = frame.moved(_middles(ours)), _middles(theirs)
    apart = np.linalg.norm(points[0][:, None] - points[1][None], axis=2)
    between = np.linalg.norm(middles[0][:, None] - middles[1][None], axis=2)
    between = np.where(np.isfinite(between), between, np.inf)
    nearer = np.minimum(apart, between)
    cost = nearer + 0.1 * np.minimum(np.maximum(apart, between), reach)
    kinds = np.array([r.kind for r in ours])[:, None] != np.array([r.kind for r in theirs])[None]
    others = np.array([str(r.other) for r in ours])[:, None]
    cost += reach * (0.1 * kinds + 0.1 * (others != np.array([str(r.other) for r in theirs])[None]))
    result: Floats = np.where(nearer <= reach, cost, NEVER)
    return result


def _points(results: list[Result]) -> Floats:
    return np.array([result.position for result in results], np.float64).reshape(-1, 3)


def _middles(results: list[Result]) -> Floats:
    return np.array([r.centre or (np.nan,) * 3 for r in results], np.float64).reshape(-1, 3)


def _wide_pairs(
    ours: list[Result], theirs: list[Result], frame: Frame
) -> list[tuple[Result, Result]]:
    """Wide regions about the same middle, of what is left.

    Which faces at the rim of a uniform wall belong to it is chance, and moves its middle.
    """
    ours, theirs = ([r for r in many if r.centre and r.extent] for many in (ours, theirs))
    if not ours or not theirs or len(ours) * len(theirs) > _MANY:
        return []
    apart = np.linalg.norm(frame.moved(_middles(ours))[:, None] - _middles(theirs)[None], axis=2)
    extents = [np.array([r.extent for r in many], np.float64) for many in (ours, theirs)]
    reach = WIDE_SHARE * np.minimum(extents[0][:, None], extents[1][None])
    kinds = np.array([r.kind for r in ours])[:, None] == np.array([r.kind for r in theirs])[None]
    cost = np.where((apart <= reach) & kinds, apart, NEVER)
    return [(ours[row], theirs[column]) for row, column in assigned(cost)]


def _greedy_pairs(
    ours: list[Result], theirs: list[Result], frame: Frame, reach: float
) -> list[tuple[Result, Result]]:
    """Nearest first, by their worst points alone: for reports of absurdly many places."""
    from scipy.spatial import cKDTree

    tree = cKDTree(_points(theirs))
    distance, column = tree.query(
        frame.moved(_points(ours)), k=min(8, len(theirs)), distance_upper_bound=reach
    )
    rows = np.repeat(np.arange(len(ours)), column.shape[1])
    flat = np.isfinite(distance.ravel())
    triples = zip(distance.ravel()[flat], rows[flat], column.ravel()[flat], strict=True)
    pairs, taken_ours, taken_theirs = [], set(), set()
    for _, row, one in sorted(triples):
        if row not in taken_ours and one not in taken_theirs:
            taken_ours.add(row)
            taken_theirs.add(one)
            pairs.append((ours[row], theirs[one]))
    return pairs


def _placeless_pairs(ours: list[Result], theirs: list[Result]) -> list[tuple[Result, Result]]:
    """What is said once of the whole body: passes, and results without a place.

    A pass names its tightest place, which may be elsewhere the next time.
    """
    if not ours or not theirs or len(ours) * len(theirs) > _MANY:
        return []
    cost = np.full((len(ours), len(theirs)), NEVER)
    for row, old in enumerate(ours):
        for column, new in enumerate(theirs):
            same = old.kind == new.kind
            if same and (new.kind not in ("fail", "review") or _placeless(old, new)):
                # An earlier report's message goes on after the words that the result has here.
                alike = old.message.startswith(new.message.rstrip(".!? "))
                cost[row, column] = 0.0 if alike else 1.0
            elif _placeless(old, new):
                cost[row, column] = 10.0
    return [(ours[row], theirs[column]) for row, column in assigned(cost)]


def _placeless(old: Result, new: Result) -> bool:
    return old.position is None and new.position is None
