"""Are bars looked up right where there are very many of them?"""

from __future__ import annotations

import numpy as np

from lint3d.geometry.rods_bar import Bar
from lint3d_plugins.walls_round import _Inside, _Lying

SEED = 4


def bar(start: np.ndarray, end: np.ndarray, diameter: float) -> Bar:
    length = float(np.linalg.norm(end - start))
    return Bar(
        diameter,
        diameter,
        diameter,
        length,
        length,
        length,
        (end - start) / length,
        start,
        end,
        True,
        (False, False),
        np.zeros(0, np.int64),
        0.0,
        length,
    )


def test_a_set_is_lain_on_with_more_than_half_of_the_faces() -> None:
    lying = _Lying([np.array([5, 1, 2]), np.array([2, 3]), np.array([], np.int64), np.arange(9)])
    assert lying.on(np.array([1, 2])).tolist() == [0, 3]
    assert lying.on(np.array([3, 2, 7])).tolist() == [1, 3]
    assert lying.on(np.array([1, 4, 6, 12])).tolist() == [3]
    assert lying.on(np.array([40])).tolist() == []
    assert _Lying([]).on(np.array([1])).tolist() == []


def test_many_sets_as_one_by_one() -> None:
    rng = np.random.default_rng(SEED)
    sets = [rng.permutation(60)[: rng.integers(1, 12)] for _ in range(80)]
    lying = _Lying(sets)
    for faces in sets:
        one_by_one = [i for i, held in enumerate(sets) if np.isin(faces, held).mean() > 0.5]
        assert lying.on(faces).tolist() == one_by_one


def test_a_place_is_held_up_to_the_side_and_one_diameter_past_the_end() -> None:
    known = _Inside()
    assert not known.holds(np.zeros(3))
    known.add([bar(np.array([0.0, 0, 0]), np.array([10.0, 0, 0]), 2.0)])
    for place, is_held in (
        ([5, 0.9, 0], True),
        ([5, 1.1, 0], False),
        ([11.9, 0, 0.5], True),
        ([12.1, 0, 0], False),
        ([-1.9, 0, 0], True),
        ([-2.1, 0, 0], False),
    ):
        assert known.holds(np.array(place, float)) == is_held
    rng = np.random.default_rng(SEED)
    ends = rng.uniform(100, 200, (70, 2, 3))
    known.add([bar(start, end, 1.0) for start, end in ends])
    assert all(known.holds(end) for end in ends.mean(axis=1))
    assert not known.holds(np.array([50.0, 50, 50]))
