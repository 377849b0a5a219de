"""What is built: cycles are cut, references checked, instances counted before they are made."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_files import TETRAHEDRON, TETRAHEDRON_FACES

from lint3d import ReadLimits, Region, UnreadableFile
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_build import Build
from lint3d.readers.threemf_model import Model, ModelObject, Reference

WHERE = Region(member="m")


def model_of(parts: dict[int, list[int]], items: list[int]) -> Model:
    """Objects without components have the tetrahedron."""
    model = Model("m", item_count=len(items))
    for number, components in parts.items():
        made = ModelObject(number, "m", None, "model", WHERE)
        if not components:
            made.vertices, made.triangles = TETRAHEDRON, TETRAHEDRON_FACES
        made.components = [Reference(inner, None, None, WHERE) for inner in components]
        model.objects[number] = made
    model.items = [Reference(item, None, None, WHERE) for item in items]
    return model


def built(
    parts: dict[int, list[int]], items: list[int], faces: int = 1000
) -> tuple[list[int], list[str]]:
    faults = FaultList()
    model = model_of(parts, items)
    build = Build({"m": model}, "m", faults)
    counts = {("m", number): 4 for number, inner in parts.items() if not inner}
    instances = build.instances(counts, ReadLimits(faces=faces))
    return [one.key[1] for one in instances], [fault.message for fault in faults.faults()]


def test_order_of_the_build() -> None:
    parts = {1: [], 2: [], 3: [2, 1], 4: [3, 1]}
    assert built(parts, [4, 2]) == ([2, 1, 1, 2], [])


@pytest.mark.parametrize(
    "parts",
    [{1: [], 2: [2, 1]}, {1: [], 2: [3, 1], 3: [2]}, {1: [], 2: [3, 1], 3: [4], 4: [5], 5: [2]}],
)
def test_cycles_are_cut_once(parts: dict[int, list[int]]) -> None:
    found, messages = built(parts, [2])
    assert found == [1]
    assert len(messages) == 1
    assert "1 component leading back" in messages[0]


def test_only_a_cycle() -> None:
    assert built({2: [3], 3: [2]}, [2])[0] == []


def test_missing_objects_are_left_out() -> None:
    assert built({1: [], 2: [1, 9]}, [2, 8])[0] == [1]


@settings(deadline=None)
@given(st.dictionaries(st.integers(1, 8), st.lists(st.integers(1, 9), max_size=3), max_size=8),
       st.lists(st.integers(1, 9), min_size=1, max_size=3))  # fmt: skip
def test_any_graph_ends(parts: dict[int, list[int]], items: list[int]) -> None:
    """Cut wherever it leads back, it is a graph without cycles; its walk ends."""
    try:
        found, _ = built(parts, items)
    except UnreadableFile:
        return  # more than 1000 faces, which eight objects of three components can reach
    assert 4 * len(found) <= 1000
    assert all(not parts[number] for number in found)


def test_counting_comes_before_making() -> None:
    parts: dict[int, list[int]] = {1: []}
    parts |= {number: [number - 1] * 2 for number in range(2, 60)}
    with pytest.raises(UnreadableFile, match="triangles, counting each instance"):
        built(parts, [59])
    assert len(built(parts, [8])[0]) == 128


def test_empty_objects_that_multiply() -> None:
    parts = {number: [number - 1] * 2 for number in range(2, 60)}
    model = model_of(parts, [59])
    model.objects[1] = ModelObject(1, "m", None, "model", WHERE)
    build = Build({"m": model}, "m", FaultList())
    with pytest.raises(UnreadableFile, match="objects, counting each instance"):
        list(build.instances({}, ReadLimits()))


def test_products_of_transforms() -> None:
    model = model_of({1: [], 2: [1]}, [2])
    inner, outer = np.eye(4, 3), np.eye(4, 3) * 2
    inner[3], outer[3] = [1, 0, 0], [0, 5, 0]
    model.objects[2].components[0].matrix, model.items[0].matrix = inner, outer
    build = Build({"m": model}, "m", FaultList())
    (one,) = build.instances({}, ReadLimits())
    assert one.matrix is not None
    np.testing.assert_array_equal(one.matrix[3], [2, 5, 0])
