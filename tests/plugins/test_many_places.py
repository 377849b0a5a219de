"""How very many places of one kind are summed up."""

from __future__ import annotations

import numpy as np

from lint3d_plugins.many_places import distribution, point


def test_distribution() -> None:
    found = distribution(np.array([1.0, 2.0, 3.0, 4.0, 10.0]))
    assert found == {
        "least": 1.0,
        "lower_quartile": 2.0,
        "median": 3.0,
        "upper_quartile": 4.0,
        "largest": 10.0,
        "mean": 4.0,
    }


def test_point_is_plain_numbers() -> None:
    told = point(np.array([1, 2.5, 3], np.float32))
    assert told == (1.0, 2.5, 3.0)
    assert all(type(one) is float for one in told)
