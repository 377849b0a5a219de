"""Which facets have corners that a part can have."""

from __future__ import annotations

import numpy as np
import pytest
from mesh_files import CUBE

from lint3d.readers.plausible import COORDINATE_MAX, NOT_FINITE, TOO_FAR, usable_facets


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize(
    ("value", "kind"),
    [(np.nan, NOT_FINITE), (np.inf, NOT_FINITE), (-np.inf, NOT_FINITE), (1.01e9, TOO_FAR),
     (-1e30, TOO_FAR)],
)  # fmt: skip
def test_one_bad_number(value: float, kind: object, dtype: type) -> None:
    corners = CUBE.astype(dtype)
    corners[7, 2, 1] = value
    usable, trouble = usable_facets(corners)
    assert usable is not None
    assert np.flatnonzero(~usable).tolist() == [7]
    assert [(found, rows.tolist()) for found, rows in trouble] == [(kind, [7])]


def test_all_fine() -> None:
    assert usable_facets(CUBE) == (None, [])
    assert usable_facets(np.zeros((0, 3, 3))) == (None, [])
    assert usable_facets(np.full((1, 3, 3), COORDINATE_MAX)) == (None, [])


def test_a_facet_has_one_trouble() -> None:
    corners = CUBE.copy()
    corners[2, 0] = [np.nan, 1e30, 0]
    assert [(kind, rows.tolist()) for kind, rows in usable_facets(corners)[1]] == [
        (NOT_FINITE, [2])
    ]


def test_signalling_nan_does_not_warn() -> None:
    corners = CUBE.astype(np.float32)
    corners.view(np.uint32)[1, 1, 1] = 0x7F800001
    usable, _ = usable_facets(corners)
    assert usable is not None
    assert not usable[1]
