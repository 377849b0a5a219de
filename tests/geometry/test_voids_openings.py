"""Is an opening measured through itself, and not through a wider one beside it?"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from lint3d.geometry import voids_openings


@pytest.mark.parametrize(("lower", "told"), [(1.2, (0.5, 1.04)), (1.0, (1.0, 1.04))])
def test_wider_opening_beside_is_not_taken_for_this_one(
    lower: float, told: tuple[float, float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The slot of a keyhole: the widest way in its box leads through the round part."""

    def throat(lower: float, upper: float) -> Any:
        return SimpleNamespace(lower=lower, upper=upper, diameter=(lower + upper) / 2)

    def replaced(one: Any, **values: float) -> Any:
        return SimpleNamespace(**(vars(one) | values))

    monkeypatch.setattr(voids_openings, "measure_finer", lambda *_: throat(lower, 1.25))
    monkeypatch.setattr(voids_openings, "replace", replaced)
    whole: Any = None
    found = voids_openings.measure_closely(whole, whole, throat(0.5, 1.04), 0.375, 2.0)
    assert (found.lower, found.upper) == told
    assert found.lower <= found.diameter <= found.upper
