"""3MF from bytes to parts: units, names, places, and what becomes of each kind of object."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from mesh_files import (
    BEAMS,
    MATERIALS,
    PRODUCTION,
    RELATIONSHIPS,
    TETRAHEDRON,
    TETRAHEDRON_FACES,
    ascii_stl,
    components_xml,
    item_xml,
    mesh_xml,
    model_xml,
    object_xml,
    threemf,
    triangles_xml,
    vertices_xml,
    zipped,
)

from lint3d import Fault, Reading, ReadLimits, Region, UnreadableFile
from lint3d.readers.threemf import ThreeMfReader

READER = ThreeMfReader()
MEMBER = "3D/3dmodel.model"


def read(data: bytes, **limits: Any) -> Reading:
    return READER.read(data, ReadLimits(**limits))


def read_model(resources: str | None = None, build: str = item_xml(), **more: str) -> Reading:
    return read(threemf(model_xml(resources, build, **more)))


def real(reading: Reading) -> list[Fault]:
    return [fault for fault in reading.faults if not fault.harmless]


def harmless(reading: Reading) -> list[str]:
    return [fault.message for fault in reading.faults if fault.harmless]


def refused(data: bytes, **limits: Any) -> UnreadableFile:
    with pytest.raises(UnreadableFile) as caught:
        read(data, **limits)
    return caught.value


def corners(reading: Reading, part: int = 0) -> np.ndarray:
    one = reading.parts[part]
    return np.asarray(one.vertices[one.faces])


def volume(reading: Reading, part: int = 0) -> float:
    a, b, c = np.moveaxis(corners(reading, part), 1, 0)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)


def test_sound_file() -> None:
    reading = read(threemf())
    (part,) = reading.parts
    assert reading.format == "3MF"
    assert reading.unit == "millimeter"
    assert reading.faults == []
    assert part.name is None
    np.testing.assert_array_equal(part.vertices, TETRAHEDRON)
    np.testing.assert_array_equal(part.faces, TETRAHEDRON_FACES)
    assert part.provenance.locate(2) == Region(member=MEMBER, object_id="1", facet=2)


def test_members_that_were_read() -> None:
    import hashlib

    text = model_xml().encode()
    reading = read(threemf(more={"Metadata/notes.txt": "by us"}))
    members = {path: (length, digest) for path, length, digest in reading.members}
    assert members.keys() == {"[Content_Types].xml", "_rels/.rels", MEMBER}
    assert members[MEMBER] == (len(text), hashlib.sha256(text).hexdigest())


@pytest.mark.parametrize("unit", ["micron", "millimeter", "centimeter", "inch", "foot", "meter"])
def test_units(unit: str) -> None:
    """3MF Core 1.4, §3.4; lengths stay in the file's unit."""
    reading = read_model(attributes=f'unit="{unit}"')
    assert reading.unit == unit
    np.testing.assert_array_equal(reading.parts[0].vertices, TETRAHEDRON)


def test_unit_is_millimetre_if_none_is_stated() -> None:
    assert read_model(attributes="").unit == "millimeter"


def test_unknown_unit() -> None:
    (fault,) = real(read_model(attributes='unit="furlong"'))
    assert "furlong" in fault.message


def test_names() -> None:
    reading = read_model(
        object_xml(more='name=" Gehäuse  &quot;A&quot; "') + object_xml(2), item_xml() + item_xml(2)
    )
    assert [part.name for part in reading.parts] == ['Gehäuse "A"', None]


def test_several_instances_of_one_object() -> None:
    reading = read_model(build=item_xml() + item_xml(1, "1 0 0 0 1 0 0 0 1 50 0 -7"))
    np.testing.assert_array_equal(corners(reading, 1), corners(reading) + [50, 0, -7])
    assert reading.parts[1].provenance.locate(3).object_id == "1"


def test_transform_is_four_rows_that_points_multiply_from_the_left() -> None:
    """Core 1.4, §3.3: [x y z 1] times the matrix, given row by row."""
    reading = read_model(build=item_xml(1, "0 2 0 -1 0 0 0 0 3 10 20 30"))
    x, y, z = TETRAHEDRON.T
    expected = np.column_stack([-y + 10, 2 * x + 20, 3 * z + 30])
    np.testing.assert_allclose(reading.parts[0].vertices, expected, atol=1e-12)


def test_transforms_of_components_come_before_those_of_the_item() -> None:
    turn = "0 1 0 -1 0 0 0 0 1 0 0 0"
    inner = object_xml(2, components_xml(1, more='transform="1 0 0 0 1 0 0 0 1 100 0 0"'))
    outer = object_xml(3, components_xml(2, more='transform="2 0 0 0 2 0 0 0 2 0 0 0"'))
    reading = read_model(object_xml() + inner + outer, item_xml(3, turn))
    x, y, z = (2 * (TETRAHEDRON + [100, 0, 0])).T
    np.testing.assert_allclose(reading.parts[0].vertices, np.column_stack([-y, x, z]))


def test_random_chains_of_transforms() -> None:
    chance = np.random.default_rng(7)
    for _ in range(20):
        matrices = chance.uniform(-2, 2, (3, 4, 3))
        texts = [" ".join(map(repr, matrix.ravel().tolist())) for matrix in matrices]
        resources = (
            object_xml()
            + object_xml(2, components_xml(1, more=f'transform="{texts[0]}"'))
            + object_xml(3, components_xml(2, more=f'transform="{texts[1]}"'))
        )
        reading = read_model(resources, item_xml(3, texts[2]))
        points = np.c_[TETRAHEDRON, np.ones(4)]
        for matrix in matrices:
            points = points @ np.c_[matrix, [0, 0, 0, 1]]
        np.testing.assert_allclose(reading.parts[0].vertices, points[:, :3], atol=1e-9)
        assert volume(reading) > 0


def test_mirrored_instance_keeps_its_outside() -> None:
    reading = read_model(build=item_xml(1, "-1 0 0 0 1 0 0 0 1 0 0 0"))
    assert volume(reading) == pytest.approx(1000 / 6)
    assert real(reading) == []
    assert "mirrors" in harmless(reading)[0]


def test_equal_vertices_stay_equal_under_any_transform() -> None:
    """Else parts that are closed by position would come apart."""
    chance = np.random.default_rng(3)
    points = np.tile(chance.uniform(-10, 10, (7, 3)), (30, 1))
    text = "\n".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in points.tolist())
    faces = np.arange(210).reshape(-1, 3)
    matrix = " ".join(map(repr, chance.uniform(-1, 1, 12).tolist()))
    reading = read_model(object_xml(1, mesh_xml(text, triangles_xml(faces))), item_xml(1, matrix))
    assert len(np.unique(reading.parts[0].vertices, axis=0)) == 7


def test_supports_and_unbuilt_objects_are_information() -> None:
    resources = object_xml() + object_xml(2, more='type="support"') + object_xml(3)
    reading = read_model(resources, item_xml() + item_xml(2))
    assert len(reading.parts) == 1
    assert real(reading) == []
    assert any("of type support" in message for message in harmless(reading))
    assert any("not in the build" in message for message in harmless(reading))


def test_only_supports() -> None:
    assert "of type support" in str(refused(threemf(model_xml(object_xml(more='type="support"')))))


def test_surfaces_are_a_fault() -> None:
    reading = read_model(
        object_xml() + object_xml(2, more='type="surface"'), item_xml() + item_xml(2)
    )
    assert len(reading.parts) == 1
    assert "surface" in real(reading)[0].message


def test_object_of_type_other() -> None:
    other = object_xml(more='type="other"')
    assert "type other" in str(refused(threemf(model_xml(other))))
    inside = read_model(other + object_xml(2, components_xml(1)), item_xml(2))
    assert len(inside.parts) == 1
    assert real(inside) == []


def test_beams_are_not_inspected() -> None:
    beams = mesh_xml().replace("</mesh>", "<b:beamlattice/></mesh>")
    (fault,) = real(read_model(object_xml(1, beams), attributes=BEAMS))
    assert "beam lattice" in fault.message
    assert fault.region is not None
    assert fault.region.object_id == "1"


def test_elements_of_our_own_are_information() -> None:
    own = mesh_xml().replace("</mesh>", "<q:note/></mesh>")
    reading = read_model(object_xml(1, own), attributes='xmlns:q="urn:q"')
    assert real(reading) == []
    assert "urn:q" in harmless(reading)[0]


def test_colours_are_read_over() -> None:
    coloured = triangles_xml().replace('v3="1"', 'v3="1" pid="6" p1="0"')
    reading = read_model(
        '<m:colorgroup id="6"><m:color color="#FF0000"/></m:colorgroup>'
        + object_xml(1, mesh_xml(None, coloured)),
        attributes=MATERIALS,
    )
    assert reading.faults == []
    np.testing.assert_array_equal(reading.parts[0].faces, TETRAHEDRON_FACES)


def uuid(number: int) -> str:
    return f'p:UUID="12345678-1234-1234-1234-1234567890{number:02d}"'


def produced(other: str, item: str = "", related: bool = True) -> bytes:
    item = item or f'<item objectid="7" {uuid(1)} p:path="/3D/other.model"/>'
    root = model_xml("", item, f'{PRODUCTION} unit="millimeter"').replace(
        "<build>", f"<build {uuid(2)}>"
    )
    more = {"3D/other.model": other}
    if related:
        more["3D/_rels/3dmodel.model.rels"] = RELATIONSHIPS.replace(MEMBER, "3D/other.model")
    return threemf(root, more=more)


def other_model(attributes: str = 'unit="millimeter"') -> str:
    return model_xml(object_xml(7, more=uuid(3)), "", f"{PRODUCTION} {attributes}")


def test_objects_of_another_member() -> None:
    reading = read(produced(other_model()))
    assert reading.faults == []
    region = reading.parts[0].provenance.locate(1)
    assert region == Region(member="3D/other.model", object_id="7", facet=1)
    assert "3D/other.model" in [path for path, _, _ in reading.members]


def test_other_member_in_another_unit() -> None:
    reading = read(produced(other_model('unit="inch"')))
    assert "in inch while the first is in millimeter" in real(reading)[0].message
    np.testing.assert_allclose(reading.parts[0].vertices, 25.4 * TETRAHEDRON)


def test_other_member_that_is_not_there() -> None:
    item = f'<item objectid="7" {uuid(1)} p:path="/3D/third.model"/>'
    assert "model member that is not there" in str(refused(produced(other_model(), item)))


def test_other_member_that_is_broken() -> None:
    assert "broken: 3D/other.model" in str(refused(produced("<model")))


def test_other_member_that_is_not_related() -> None:
    reading = read(produced(other_model(), related=False))
    assert "relationships do not name" in real(reading)[0].message


def test_nothing_on_the_plate() -> None:
    resources = object_xml() + object_xml(2, components_xml(1)) + object_xml(3)
    reading = read_model(resources, "")
    assert "without items" in real(reading)[0].message
    assert len(reading.parts) == 2


def test_out_of_reach() -> None:
    build = item_xml() + item_xml(1, "1 0 0 0 1 0 0 0 1 2e9 0 0")
    reading = read_model(build=build)
    assert len(reading.parts) == 1
    assert "further than 1e+09" in real(reading)[0].message


def test_bound_on_faces_counts_instances() -> None:
    data = threemf(model_xml(build=item_xml() * 5))
    assert len(read(data, faces=20).parts) == 5
    assert "builds 20 triangles" in str(refused(data, faces=19))


def test_bound_on_faces_counts_lists() -> None:
    data = threemf(model_xml(object_xml() + object_xml(2)))
    assert "read.faces" in str(refused(data, faces=7))
    slow = threemf(model_xml(object_xml(1, mesh_xml().replace('"', "'"))))
    assert "read.faces" in str(refused(slow, faces=3))


def test_components_that_multiply_cost_nothing() -> None:
    resources = object_xml() + "".join(
        object_xml(number, components_xml(number - 1, number - 1)) for number in range(2, 90)
    )
    assert "over 1e15 triangles" in str(refused(threemf(model_xml(resources, item_xml(89)))))


def test_deep_chain_of_components() -> None:
    resources = object_xml() + "".join(
        object_xml(number, components_xml(number - 1)) for number in range(2, 3000)
    )
    assert len(read_model(resources, item_xml(2999)).parts) == 1


@pytest.mark.parametrize("text", ["", "<components/>"])
def test_objects_without_a_triangle(text: str) -> None:
    reading = read_model(
        object_xml() + object_xml(2, text or mesh_xml(None, "")), item_xml() + item_xml(2)
    )
    assert "has 1 object without a triangle" in real(reading)[0].message
    assert len(reading.parts) == 1


def test_claims() -> None:
    data = threemf()
    assert READER.claims(data[:4096], ".3mf", len(data)) == 1.0
    assert 0 < READER.claims(b"nonsense", ".3mf", 8) < 1
    assert 0 < READER.claims(data[:4096], ".zip", len(data)) < 1
    assert READER.claims(ascii_stl(), ".stl", 100) == 0
    assert READER.claims(zipped({"a": "b"}), ".zip", 100) == 0


def test_not_finite_vertex_takes_its_triangles_along() -> None:
    reading = read_model(object_xml(1, mesh_xml(vertices_xml().replace('z="10"', 'z="NaN"'))))
    assert reading.parts[0].facet is not None
    assert reading.parts[0].facet.tolist() == [0]
    (fault,) = real(reading)
    assert "has 1 vertex with a coordinate" in fault.message
    assert fault.region is not None
    assert (fault.region.object_id, fault.region.start_line) == ("1", 10)
