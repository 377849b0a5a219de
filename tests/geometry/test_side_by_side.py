"""Are pieces of work that write to rows of their own all done?"""

from __future__ import annotations

import numpy as np
import pytest

from lint3d.geometry.side_by_side import side_by_side


@pytest.mark.parametrize("count", [0, 1, 7])
def test_each_piece_is_done_once(count: int) -> None:
    done, made = np.zeros(10 * count), []

    def work(start: int) -> None:
        done[start : start + 10] += 1

    side_by_side(work, range(0, 10 * count, 10), before=lambda: made.append(1))
    assert (done == 1).all()
    assert len(made) == 1


def test_a_fault_is_not_swallowed() -> None:
    def work(start: int) -> None:
        if start == 3:
            raise ValueError("three")

    with pytest.raises(ValueError, match="three"):
        side_by_side(work, range(5))
