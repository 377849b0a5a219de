"""Are bars looked up right where there are very many of them?"""

from __future__ import annotations

import numpy as np

from lint3d_plugins.walls_round import _Lying

SEED = 4


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
