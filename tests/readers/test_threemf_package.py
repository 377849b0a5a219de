"""Which member is the model: the package's tables, and what is said if they do not fit."""

from __future__ import annotations

import pytest
from mesh_files import CONTENT_TYPES, DECLARATION, MODEL_MEMBER, RELATIONSHIPS, threemf

from lint3d import ReadLimits, UnreadableFile
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_archive import Archive
from lint3d.readers.threemf_package import MODEL_RELATIONSHIP, related_members, start_model


def start(data: bytes) -> tuple[str, list[str]]:
    faults = FaultList()
    name = start_model(Archive(data, ReadLimits(), faults), faults)
    return name, [fault.message for fault in faults.faults()]


def relationship(target: str, number: int = 1, kind: str = MODEL_RELATIONSHIP) -> str:
    return f'<Relationship Target="{target}" Id="r{number}" Type="{kind}"/>'


def relationships(*each: str) -> str:
    return (
        RELATIONSHIPS[: RELATIONSHIPS.index("<Relationship ")] + "".join(each) + "</Relationships>"
    )


def test_sound() -> None:
    assert start(threemf()) == (MODEL_MEMBER, [])


def test_another_name() -> None:
    data = threemf(member="parts/lid.model", relationships=relationships(
        relationship("/parts/lid.model")))  # fmt: skip
    assert start(data) == ("parts/lid.model", [])


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"types": None}, "has no [Content_Types].xml"),
        ({"types": "<Types"}, "broken: [Content_Types].xml"),
        ({"types": CONTENT_TYPES.replace('"model"', '"thing"')}, "does not state in"),
        ({"types": CONTENT_TYPES.replace('"rels"', '"thing"')}, "does not state in"),
        ({"types": CONTENT_TYPES.replace("</Types>", "<a/></Types>")}, "foreign to a package"),
        ({"relationships": None}, "has no _rels/.rels"),
        ({"relationships": "<Relationships"}, "broken: _rels/.rels"),
        ({"relationships": relationships()}, "names no model"),
        ({"relationships": relationships(relationship("/a.model"))}, "does not have"),
        ({"relationships": relationships(relationship("3D/3dmodel.model"))}, "lacks the '/'"),
        ({"relationships": relationships(relationship("/3d/3DMODEL.model"))}, "spelt otherwise"),
    ],
)
def test_the_usual_model_is_read_all_the_same(changes: dict[str, str | None], says: str) -> None:
    name, messages = start(threemf(**changes))  # type: ignore[arg-type]
    assert name == MODEL_MEMBER
    assert any(says in message for message in messages), messages


def test_first_of_two_models_is_read() -> None:
    data = threemf(
        relationships=relationships(
            relationship("/other.model"), relationship("/3D/3dmodel.model", 2)
        ),
        more={"other.model": ""},
    )
    name, messages = start(data)
    assert name == "other.model"
    assert any("names 2 models" in message for message in messages)


def test_targets_elsewhere_are_not_followed() -> None:
    outside = relationship("http://a.example/b.model").replace("/>", ' TargetMode="External"/>')
    name, messages = start(threemf(relationships=relationships(outside)))
    assert name == MODEL_MEMBER
    assert any("names no model" in message for message in messages)


def test_document_type_in_a_table() -> None:
    bad = CONTENT_TYPES.replace(DECLARATION, DECLARATION + "<!DOCTYPE Types>\n")
    assert any("document type" in message for message in start(threemf(types=bad))[1])


def test_no_model() -> None:
    with pytest.raises(UnreadableFile, match=r"no member 3D/3dmodel\.model"):
        start(threemf(None))


def test_related_members() -> None:
    faults = FaultList()
    data = threemf(
        more={
            "3D/a.model": "",
            "3D/pictures/t.png": "",
            "3D/_rels/3dmodel.model.rels": relationships(
                relationship("/3D/a.model"),
                relationship("pictures/t.png", 2, "urn:p"),
                relationship("/3D/b.model", 3),
            ),
        }
    )
    found = related_members(Archive(data, ReadLimits(), faults), MODEL_MEMBER, faults)
    assert found == {"3D/a.model": {MODEL_RELATIONSHIP}, "3D/pictures/t.png": {"urn:p"}}
    (fault,) = faults.faults()
    assert "does not have" in fault.message
    assert fault.region is not None
    assert fault.region.member == "3D/_rels/3dmodel.model.rels"
