"""What a model says, and where it breaks the Core Specification.

The long table of what the reference reader refuses stands in tests/outside/test_3mf_strict.py.
"""

from __future__ import annotations

import numpy as np
import pytest
from mesh_files import (
    CORE,
    MATERIALS,
    PRODUCTION,
    components_xml,
    item_xml,
    mesh_xml,
    model_xml,
    object_xml,
    triangles_xml,
)

from lint3d import ReadLimits, UnreadableFile
from lint3d.model import Fault
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_attributes import Uuids
from lint3d.readers.threemf_document import read_model
from lint3d.readers.threemf_model import Model


def read(text: str | bytes) -> tuple[Model, list[Fault]]:
    faults = FaultList()
    content = text.encode() if isinstance(text, str) else text
    return read_model(content, "m", ReadLimits(), faults, Uuids(faults)), faults.faults()


def only(text: str) -> tuple[str, int | None]:
    (fault,) = read(text)[1]
    assert fault.region is not None
    assert fault.region.member == "m"
    return fault.message, fault.region.start_line


def test_sound() -> None:
    model, faults = read(model_xml(object_xml() + object_xml(2, components_xml(1)), item_xml(2)))
    assert faults == []
    assert list(model.objects) == [1, 2]
    assert [one.object_id for one in model.objects[2].components] == [1]
    assert model.items[0].matrix is None
    assert model.objects[1].where.start_line == 4


def test_prefix_for_core() -> None:
    text = model_xml().replace("<", "<c:").replace("<c:/", "</c:").replace("<c:?", "<?")
    model, faults = read(text.replace("xmlns=", "xmlns:c="))
    assert faults == []
    assert len(model.objects[1].triangles) == 4


def test_places() -> None:
    lists = object_xml() + object_xml(2, "")
    assert only(model_xml(lists)) == (
        "has 1 object without a mesh or components (at m, object 2, line 20).", 20,
    )  # fmt: skip


def test_lines_behind_lists_that_were_read_quickly() -> None:
    text = model_xml(object_xml() + object_xml(2) + "<foo/>\n")
    line = text[: text.index("<foo/>")].count("\n") + 1
    assert only(text)[1] == line


def test_first_of_two_objects_with_one_id() -> None:
    model, faults = read(model_xml(object_xml() + object_xml(1, mesh_xml(None, ""))))
    assert len(model.objects[1].triangles) == 4
    assert "another one has too" in faults[0].message


@pytest.mark.parametrize("text", ["1 0 0 0 1 0 0 0 1 0 0", "a", "1 0 0 0 1 0 0 0 1 nan 0 0"])
def test_transform_that_is_none(text: str) -> None:
    model, (fault,) = read(model_xml(build=item_xml(1, text) + item_xml()))
    assert "twelve finite numbers" in fault.message
    assert len(model.items) == 1
    assert model.item_count == 2


@pytest.mark.parametrize(
    "text",
    ["0 0 0 0 1 0 0 0 1 0 0 0", "1 0 0 1 0 0 0 0 1 0 0 0", "1 2 3 4 5 6 7 8 9 0 0 0"],
)
def test_transform_that_presses_flat(text: str) -> None:
    assert "flat" in only(model_xml(build=item_xml(1, text)))[0]


def test_small_transform_is_not_flat() -> None:
    tiny = "1e-6 0 0 0 1e-6 0 0 0 1e-6 0 0 0"
    model, faults = read(model_xml(build=item_xml(1, tiny)))
    assert faults == []
    assert model.items[0].matrix is not None
    np.testing.assert_array_equal(model.items[0].matrix[0], [1e-6, 0, 0])


def test_what_is_passed_over_brings_nothing_in() -> None:
    text = model_xml(object_xml() + f"<foo>{object_xml(2)}</foo>", after=f"<a>{object_xml(3)}</a>")
    model, faults = read(text)
    assert list(model.objects) == [1]
    assert faults[0].count == 2


def test_extensions_are_noted() -> None:
    own = object_xml(1, mesh_xml().replace("</mesh>", "<q:a/></mesh>"))
    model, _ = read(model_xml(own, attributes='xmlns:q="urn:q" requiredextensions="q"'))
    assert model.objects[1].extensions == {"urn:q"}
    assert model.required == ["urn:q"]


def test_properties_of_triangles() -> None:
    bad = mesh_xml(None, triangles_xml().replace('v3="3"', 'v3="3" pid="6" p1="2"'))
    colours = '<m:colorgroup id="6"><m:color color="#FF0000"/></m:colorgroup>\n'
    (fault,) = read(model_xml(colours + object_xml(1, bad), attributes=MATERIALS))[1]
    assert "properties of no material" in fault.message
    assert fault.count == 2
    assert fault.region is not None
    assert (fault.region.object_id, fault.region.facet) == ("1", 1)


def test_uuids() -> None:
    one = 'p:UUID="12345678-1234-1234-1234-123456789012"'
    text = model_xml(object_xml(more=one) + object_xml(2, more=one.upper().replace("P:", "p:")),
                     attributes=PRODUCTION)  # fmt: skip
    assert "used twice" in only(text)[0]
    assert "ill-formed" in only(model_xml(object_xml(more='p:UUID="1"'), attributes=PRODUCTION))[0]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("<a/>", "root element is 'a'"),
        ('<model xmlns="urn:a"/>', "root element is 'model' in the namespace 'urn:a'"),
        (model_xml()[:300], "broken: m, line"),
        (model_xml() + "<a/>", "junk after document element"),
        (model_xml().replace("</mesh>", "</mash>"), "mismatched tag"),
        (model_xml(before="<!DOCTYPE model>\n"), "document type (DTD)"),
        (model_xml().encode().replace(b"vertex x", b"vertex \xff"), "not well-formed"),
        (f'<?xml version="1.0" encoding="no-such"?><model xmlns="{CORE}"/>', "unknown encoding"),
        ("", "no element found"),
    ],
)
def test_what_ends_the_reading(text: str | bytes, says: str) -> None:
    with pytest.raises(UnreadableFile) as caught:
        read(text)
    assert says in caught.value.message


def test_entities_are_never_expanded() -> None:
    laughs = "".join(f'<!ENTITY l{n} "&l{n - 1};&l{n - 1};">' for n in range(1, 40))
    text = model_xml(before=f'<!DOCTYPE model [<!ENTITY l0 "ha">{laughs}]>\n')
    with pytest.raises(UnreadableFile, match="document type"):
        read(text.replace('unit="millimeter"', 'unit="&l39;"'))
