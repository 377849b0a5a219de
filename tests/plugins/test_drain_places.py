"""How are pockets told?"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from lint3d import Place
from lint3d_plugins.drain_necks import necks
from lint3d_plugins.drain_places import order_of_emptying, steps, summed_up
from lint3d_plugins.many_places import MANY

HOLLOW: Any = SimpleNamespace(group=SimpleNamespace(bodies=[SimpleNamespace(name="part-1")]))


def throat(x: float, diameter: float) -> Any:
    return SimpleNamespace(position=np.array([x, 0.0, 0.0]), diameter=diameter)


def pocket(volume: float, out: Any, way: int = 100) -> Any:
    points = np.column_stack([np.linspace(0, 20, way), np.zeros((way, 2))])
    width = 1.0 + 0.1 * np.abs(points[:, 0] - out.position[0])
    return SimpleNamespace(
        volume=volume,
        position=np.zeros(3),
        diameter=8.0,
        throat=out,
        way=points,
        way_width=width,
        way_nodes=(4, 7, 2, 0),
    )


def test_steps_keep_the_ends_and_the_narrowest_place() -> None:
    told = steps(pocket(10, throat(13.1, 1.0), 1000))
    assert len(told) <= 36
    assert told[0].value == 8.0
    assert told[-1].label == "outside"
    assert told[-1].position == (20.0, 0.0, 0.0)
    (narrowest,) = [step for step in told if step.label == "narrowest place"]
    assert narrowest.position == (13.1, 0.0, 0.0)
    assert min(step.value for step in told if step.value) == narrowest.value
    along = [step.position[0] for step in told]
    assert along == sorted(along)


def test_the_chamber_next_to_the_outside_empties_first() -> None:
    assert order_of_emptying(pocket(1, throat(1, 1))) == [2, 7, 4]


def test_pockets_are_grouped_by_their_throat() -> None:
    shared, own = throat(3, 1.0), throat(5, 2.0)
    pockets = [pocket(9, shared), pocket(8, own), pocket(7, shared)]
    hollow: Any = SimpleNamespace(voids=SimpleNamespace(pockets=pockets, graph=None))
    found = necks(hollow, lambda one: one.throat)
    assert [[one.volume for one in neck.pockets] for neck in found] == [[9, 7], [8]]
    assert found[0].volume == 16
    assert necks(hollow, lambda one: None) == []


@pytest.mark.parametrize(("smallest_first", "shown"), [(True, 1.0), (False, 60.0)])
def test_very_many_are_told_once(smallest_first: bool, shown: float) -> None:
    places = [(0, Place(float(i), remark="One.")) for i in range(1, 61)]
    (place,) = summed_up(HOLLOW, places, "mm", smallest_first)
    assert place.value == shown
    assert place.properties["places"] == 60
    assert place.properties["distribution"]["median"] == 30.5
    assert place.remark is not None
    assert place.remark.startswith("60 places")


def test_few_are_told_one_by_one_beside_very_many() -> None:
    places = [(number % 2, Place(float(number))) for number in range(2 * MANY)]
    assert len(summed_up(HOLLOW, places[:MANY], "mm", True)) == MANY
    many = [(0, Place(1.0 + 0.01 * i)) for i in range(MANY + 1)]
    apart = [(1, Place(0.5)), (2, Place(9.0))]
    told = summed_up(HOLLOW, many + apart, "mm", True)
    assert sorted(place.value for place in told) == [0.5, 1.0, 9.0]


def test_systems_that_are_very_many_together_are_one() -> None:
    places = [(number, Place(2.0 + number)) for number in range(3 * MANY)]
    (place,) = summed_up(HOLLOW, places, "mm", True)
    assert place.properties["places"] == 3 * MANY
    assert place.value == 2.0
