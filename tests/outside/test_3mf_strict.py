"""Is everything reported that lib3mf refuses in strict mode, and nothing that it rightly accepts?

Sources: lib3mf 2.5 (PyPI), the 3MF Consortium's own reader, in strict mode; 3MF Core Specification
1.4 and its production and materials extensions. lib3mf is laxer than the specification in places
(§4.1, numbers with a tail, an empty build); there we report more, see `STRICTER`.
"""

from __future__ import annotations

import random
import re
import zipfile

import lib3mf
import pytest
from mesh_files import (
    BEAMS,
    CONTENT_TYPES,
    CORE,
    MATERIALS,
    PRODUCTION,
    RELATIONSHIPS,
    components_xml,
    item_xml,
    mesh_xml,
    model_xml,
    object_xml,
    threemf,
    triangles_xml,
    vertices_xml,
)

from lint3d import ReadLimits, UnreadableFile
from lint3d.readers.threemf import ThreeMfReader

LIB3MF = lib3mf.Wrapper()  # kept: what it made dies with it
READER = ThreeMfReader()
MODEL_RELATIONSHIPS = RELATIONSHIPS.replace("/3D/3dmodel.model", "/3D/other.model")
MATERIAL = '<basematerials id="5"><base name="a" displaycolor="#FF0000"/></basematerials>\n'
COLOURS = '<m:colorgroup id="6"><m:color color="#FF0000"/><m:color color="#00FF00"/></m:colorgroup>'


def uuid(number: int) -> str:
    return f'p:UUID="12345678-1234-1234-1234-1234567890{number:02d}"'


def refused(data: bytes) -> str | None:
    """What lib3mf says in strict mode, None if it reads the file without a word."""
    reader = LIB3MF.CreateModel().QueryReader("3mf")
    reader.SetStrictModeActive(True)
    try:
        reader.ReadFromBuffer(bytearray(data))
    except lib3mf.ELib3MFException as error:
        return str(error)
    return str(reader.GetWarning(0)) if reader.GetWarningCount() else None


def reported(data: bytes) -> list[str]:
    """What we say of the file, leaving out what is harmless."""
    try:
        reading = READER.read(data, ReadLimits())
    except UnreadableFile as error:
        return [error.message]
    return [fault.message for fault in reading.faults if not fault.harmless]


def with_mesh(vertices: str | None = None, triangles: str | None = None) -> bytes:
    return threemf(model_xml(object_xml(content=mesh_xml(vertices, triangles))))


def with_index(text: str) -> bytes:
    return with_mesh(None, triangles_xml().replace('v2="2"', f'v2="{text}"', 1))


def with_number(text: str) -> bytes:
    return with_mesh(vertices_xml().replace('x="10"', f'x="{text}"'))


def with_transform(text: str) -> bytes:
    return threemf(model_xml(build=item_xml() + item_xml(1, text)))


def with_type(kind: str) -> bytes:
    return threemf(model_xml(object_xml(more=f'type="{kind}"')))


def produced(item: str, other: str | None = None, related: bool = True) -> bytes:
    """A build that takes its object from another member."""
    build_uuid = f"<build {uuid(1)}>"
    attributes = f'{PRODUCTION} requiredextensions="p"'
    root = model_xml("", item, attributes).replace("<build>", build_uuid)
    more = {"3D/other.model": other or model_xml(object_xml(7, more=uuid(2)), "", attributes)}
    if related:
        more["3D/_rels/3dmodel.model.rels"] = MODEL_RELATIONSHIPS
    return threemf(root, more=more)


OTHER_ITEM = f'<item objectid="7" {uuid(3)} p:path="/3D/other.model"/>'

VALID = {
    "plain": threemf(),
    "stored": threemf(method=zipfile.ZIP_STORED),
    "byte order mark": threemf(b"\xef\xbb\xbf" + model_xml().encode()),
    "no declaration": threemf(model_xml(before="")),
    "comment": threemf(model_xml(before="<!-- ours -->")),
    "comment in a list": with_mesh("<!-- ours -->" + vertices_xml()),
    "no unit": threemf(model_xml(attributes="")),
    **{unit: threemf(model_xml(attributes=f'unit="{unit}"'))
       for unit in ("micron", "millimeter", "centimeter", "inch", "foot", "meter")},
    **{f"number {text!r}": with_number(text)
       for text in (".5", "+1", "1e3", "1E+3", "1.5e-3", "-0")},
    "moved": with_transform("1 0 0 0 1 0 0 0 1 50 0 0"),
    "turned": with_transform("0 1 0 -1 0 0 0 0 1 50 0 0"),
    "mirrored": with_transform("-1 0 0 0 1 0 0 0 1 50 0 0"),
    "components": threemf(model_xml(object_xml() + object_xml(2, components_xml(1, 1)),
                                    item_xml(2))),
    "nested": threemf(model_xml(
        object_xml() + object_xml(2, components_xml(1)) + object_xml(3, components_xml(2, 1)),
        item_xml(3))),
    "support": threemf(model_xml(object_xml() + object_xml(2, more='type="support"'),
                                 item_xml() + item_xml(2))),
    "unbuilt object": threemf(model_xml(object_xml() + object_xml(2))),
    "metadata": threemf(model_xml(inside='<metadata name="Title">A &amp; B</metadata>\n')),
    "own metadata": threemf(model_xml(attributes='xmlns:q="urn:q"',
                                      inside='<metadata name="q:Batch">7</metadata>')),
    "own elements": threemf(model_xml(attributes='xmlns:q="urn:q"', inside="<q:note/>")),
    "material": threemf(model_xml(MATERIAL + object_xml(more='pid="5" pindex="0"'))),
    "colours": threemf(model_xml(
        COLOURS + object_xml(content=mesh_xml(None, triangles_xml().replace(
            'v3="1"', 'v3="1" pid="6" p1="0" p2="1" p3="0"'))), attributes=MATERIALS)),
    "names": threemf(model_xml(object_xml(more='name="Gehäuse 1" partnumber="A-7"'))),
    "single quotes": threemf(model_xml(object_xml(content=mesh_xml().replace('"', "'")))),
    "production": produced(OTHER_ITEM),
    "further member": threemf(more={"Metadata/notes.txt": "by us"}),
    "other model name": threemf(member="3D/größe.model", relationships=RELATIONSHIPS.replace(
        "3dmodel.model", "größe.model")),
}  # fmt: skip

REFUSED = {
    "no content types": threemf(types=None),
    "broken content types": threemf(types="<Types"),
    "content types of another namespace": threemf(types=CONTENT_TYPES.replace("2006", "2007")),
    "content type twice": threemf(types=CONTENT_TYPES.replace(
        "</Types>", '<Default Extension="model" ContentType="x"/></Types>')),
    "content type of a model": threemf(types=CONTENT_TYPES.replace("-3dmodel", "-thing")),
    "foreign element in content types": threemf(types=CONTENT_TYPES.replace("</Types>",
                                                                            "<foo/></Types>")),
    "no relationships": threemf(relationships=None),
    "broken relationships": threemf(relationships="<Relationships"),
    "no start part": threemf(relationships=RELATIONSHIPS.replace("3dmodel\"/>", "thing\"/>")),
    "two start parts": threemf(relationships=RELATIONSHIPS.replace(
        "</Rel", '<Relationship Target="/3D/3dmodel.model" Id="b" Type="http://schemas.microsoft.'
        'com/3dmanufacturing/2013/01/3dmodel"/></Rel')),
    "relationship id twice": threemf(relationships=RELATIONSHIPS.replace(
        "</Rel", '<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="urn:a"/></Rel')),
    "target not there": threemf(relationships=RELATIONSHIPS.replace("3dmodel.model", "a.model")),
    "relative target": threemf(relationships=RELATIONSHIPS.replace("/3D/", "3D/")),
    "target in other case": threemf(member="3D/3DMODEL.MODEL"),
    "percent codes in the target": threemf(member="3D/a b.model", relationships=RELATIONSHIPS
                                           .replace("3dmodel.model", "a%20b.model")),
    "backslash": threemf(member="3D\\3dmodel.model"),
    "no model": threemf(None),
    "thumbnail not there": threemf(model_xml(object_xml(more='thumbnail="/3D/a.png"'))),
    "texture not there": threemf(model_xml(
        '<m:texture2d id="9" path="/3D/t.png" contenttype="image/png"/>' + object_xml(),
        attributes=MATERIALS)),
    "truncated": threemf()[:-10],
    "before the archive": b"before" + threemf(),
    "behind the archive": threemf() + b"behind",
    "bzip2": threemf(method=zipfile.ZIP_BZIP2),
    "checksum": threemf(method=zipfile.ZIP_STORED).replace(b'x="10"', b'x="70"'),
    "UTF-16": threemf(model_xml(before='<?xml version="1.0" encoding="UTF-16"?>')
                      .encode("utf-16")),
    "Latin-1": threemf(model_xml(before='<?xml version="1.0" encoding="ISO-8859-1"?>')),
    "document type": threemf(model_xml(before="<!DOCTYPE model>")),
    "entity": threemf(model_xml(before='<!DOCTYPE model [<!ENTITY a "b">]>')),
    "unknown entity": threemf(model_xml(object_xml(more='name="&a;"'))),
    "character reference": threemf(model_xml(object_xml(more='name="&#65;"'))),
    "processing instruction": threemf(model_xml(before="<?a b?>")),
    "broken XML": threemf(model_xml()[:400]),
    "other root": threemf(model_xml().replace("<model", "<thing").replace("/model", "/thing")),
    "other namespace": threemf(model_xml().replace(CORE, "urn:a")),
    "unit": threemf(model_xml(attributes='unit="mm"')),
    "xml:space": threemf(model_xml(attributes='xml:space="preserve"')),
    "unknown extension": threemf(model_xml(attributes='xmlns:q="urn:q" requiredextensions="q"')),
    "undeclared extension": threemf(model_xml(attributes='requiredextensions="q"')),
    "undeclared prefix": threemf(model_xml(inside="<q:note/>")),
    "inner namespace": threemf(model_xml(inside='<q:note xmlns:q="urn:q"/>')),
    **{f"element in {parent}": threemf(model_xml(object_xml() + object_xml(2, components_xml(1)))
                                       .replace(f"</{parent}>", f"<foo/></{parent}>", 1))
       for parent in ("model", "resources", "object", "mesh", "vertices", "triangles",
                      "components", "build")},
    **{f"attribute of {element}": threemf(model_xml(
        object_xml() + object_xml(2, components_xml(1)))
        .replace(f"<{element} ", f'<{element} a="1" '))
       for element in ("vertex", "triangle", "component", "item")},
    **{f"id {text!r}": threemf(model_xml(object_xml(text), f'<item objectid="{text}"/>'))
       for text in ("0", "-1", "a", "")},
    "id twice": threemf(model_xml(object_xml() + object_xml())),
    "id of a material too": threemf(model_xml(MATERIAL + object_xml(5), item_xml(5))),
    "no id": threemf(model_xml(object_xml().replace('id="1"', ""))),
    **{f"type {kind!r}": with_type(kind) for kind in ("other", "thing", "")},
    "no content": threemf(model_xml(object_xml() + object_xml(2, ""))),
    "mesh and components": threemf(model_xml(
        object_xml() + object_xml(2, mesh_xml() + components_xml(1)), item_xml(2))),
    "two meshes": threemf(model_xml(object_xml(1, mesh_xml() + mesh_xml()))),
    "component behind": threemf(model_xml(object_xml(2, components_xml(1)) + object_xml(),
                                          item_xml(2))),
    "component of itself": threemf(model_xml(object_xml() + object_xml(2, components_xml(2, 1)))),
    "component of nothing": threemf(model_xml(object_xml() + object_xml(2, components_xml(7)))),
    "component without id": threemf(model_xml(
        object_xml() + object_xml(2, "<components><component/></components>"))),
    "item of nothing": threemf(model_xml(build=item_xml() + item_xml(9))),
    "item without id": threemf(model_xml(build=item_xml() + "<item/>")),
    "item of a material": threemf(model_xml(MATERIAL + object_xml(), item_xml() + item_xml(5))),
    "no build": threemf(re.sub("<build>.*</build>", "", model_xml(), flags=re.S)),
    "two builds": threemf(model_xml(after="<build/>")),
    "two resources": threemf(model_xml(inside="<resources/>")),
    "build first": threemf(f'<model xmlns="{CORE}"><build>{item_xml()}</build>'
                           f"<resources>{object_xml()}</resources></model>"),
    "triangles first": threemf(model_xml(object_xml(
        1, f"<mesh><triangles>{triangles_xml()}</triangles><vertices>{vertices_xml()}"
        "</vertices></mesh>"))),
    **{f"number {text!r}": with_number(text)
       for text in ("nan", "NaN", "inf", "", "a", "1,5", "--1", "1e400", "1e39", "1e-400")},
    "coordinate missing": with_mesh(vertices_xml().replace('x="10"', "")),
    **{f"index {text!r}": with_index(text)
       for text in ("-1", "1", "4", "99", "1.5", "1.0", "", "a", "0x1", "99999999999999999999")},
    "index missing": with_mesh(None, triangles_xml().replace('v2="2"', "", 1)),
    **{f"transform {text!r}": with_transform(text)
       for text in ("", "a", "1 0 0 0 1 0 0 0 1 5 5", "1 0 0 0 1 0 0 0 1 5 5 5 5",
                    "1,0,0,0,1,0,0,0,1,0,0,0", "1 0 0\t0 1 0\t0 0 1\t0 0 0")},
    "metadata twice": threemf(model_xml(inside='<metadata name="Title"/><metadata name="Title"/>')),
    "metadata unknown": threemf(model_xml(inside='<metadata name="Batch"/>')),
    "metadata without name": threemf(model_xml(inside="<metadata/>")),
    "metadata undeclared": threemf(model_xml(inside='<metadata name="q:Batch"/>')),
    "material not there": threemf(model_xml(object_xml(more='pid="9" pindex="0"'))),
    "material behind": threemf(model_xml(object_xml(more='pid="5" pindex="0"') + MATERIAL)),
    "material index": threemf(model_xml(MATERIAL + object_xml(more='pid="5" pindex="7"'))),
    "material of a triangle": threemf(model_xml(MATERIAL + object_xml(
        content=mesh_xml(None, triangles_xml().replace('v3="1"', 'v3="1" pid="5" p1="3"'))))),
    "unknown material element": threemf(model_xml('<m:foo id="9"/>' + object_xml(),
                                                  attributes=MATERIALS)),
    "UUID ill-formed": threemf(model_xml(object_xml(more='p:UUID="7"'), attributes=PRODUCTION)),
    "UUID twice": threemf(model_xml(object_xml(more=uuid(1)) + object_xml(2, more=uuid(1)),
                                    attributes=PRODUCTION)),
    "UUID missing": threemf(model_xml(attributes=f'{PRODUCTION} requiredextensions="p"')),
    "path not there": produced(OTHER_ITEM.replace("other", "third")),
    "path not related": produced(OTHER_ITEM, related=False),
    "other member broken": produced(OTHER_ITEM, "<model"),
}  # fmt: skip

#: lib3mf says nothing, and we do: the reason.
STRICTER = {
    "vertices by position only": with_mesh(  # Core 4.1: edges are shared by vertex number
        vertices_xml() + '<vertex x="0" y="0" z="0"/>',
        triangles_xml().replace('v1="0" v2="3"', 'v1="4" v2="3"')),
    "no triangle": with_mesh(None, ""),  # nothing to inspect
    "number with a tail": with_number("1.5f"),  # Core, ST_Number
    "flat transform": with_transform("1 0 0 0 1 0 0 0 0 0 0 0"),  # no volume is left
    "empty build": threemf(model_xml(build="")),  # nothing would be printed
    "XML cut off": threemf(model_xml().rstrip().removesuffix("</model>")),  # XML 1.0
    "surface": with_type("surface"),  # no inside
    "beams": threemf(model_xml(object_xml(content=mesh_xml().replace(  # not inspected here
        "</mesh>", '<b:beamlattice radius="1" minlength="0.1"><b:beams><b:beam v1="0" v2="1"/>'
        "</b:beams></b:beamlattice></mesh>")), attributes=BEAMS)),
}  # fmt: skip


@pytest.mark.parametrize("name", VALID)
def test_what_lib3mf_accepts_is_not_accused(name: str) -> None:
    assert refused(VALID[name]) is None
    assert reported(VALID[name]) == []


@pytest.mark.parametrize("name", REFUSED)
def test_what_lib3mf_refuses_is_reported(name: str) -> None:
    assert refused(REFUSED[name])
    assert reported(REFUSED[name])


@pytest.mark.parametrize("name", STRICTER)
def test_what_only_we_report(name: str) -> None:
    assert refused(STRICTER[name]) is None
    assert reported(STRICTER[name])


# Random changes of attributes and elements.

_ATTRIBUTE = re.compile(r'\s[\w:]+="[^"]*"')
_ELEMENT = re.compile(r"<([\w:]+)((?:\s[^<>]*)?)(/?)>")
_WORDS = [
    "", "0", "1", "2", "5", "6", "7", "-1", "a", "1.5", "99", "model", "support", "other",
    "#FF0000", "/3D/other.model", "inch", "nan", "1e400", " 1", "1 0 0 0 1 0 0 0 1 0 0 0", "p", "m",
    "Title", "Foo", "m:Foo", "é",
]  # fmt: skip
_NAMES = ["foo", "p:foo", "pid", "pindex", "id", "transform", "p:path", "p:UUID", "p1", "type"]
FULL = model_xml(
    MATERIAL + COLOURS
    + object_xml(1, mesh_xml(None, triangles_xml().replace(
        'v3="1"', 'v3="1" pid="5" p1="0"').replace(
            'v2="2" v3="3"', 'v2="2" v3="3" pid="6" p1="1"')),
        more='type="model" name="one" pid="5" pindex="0"')
    + object_xml(2, more='type="support"')
    + object_xml(3, components_xml(1, more='transform="1 0 0 0 1 0 0 0 1 5 5 5"'))
    + object_xml(4),
    item_xml(3) + item_xml(4, "1 0 0 0 1 0 0 0 1 50 5 5"),
    attributes=f'{MATERIALS} unit="millimeter"',
    inside='<metadata name="Title">x</metadata>',
)  # fmt: skip


def mutated(text: str, chance: random.Random) -> str:
    """One attribute or element changed, dropped, doubled or moved."""
    what = chance.randrange(8)
    attribute = chance.choice(list(_ATTRIBUTE.finditer(text)))
    element = chance.choice(list(_ELEMENT.finditer(text)))
    if what < 4:
        name = attribute[0].split("=")[0]
        new = (
            "",
            f'{name}="{chance.choice(_WORDS)}"',
            f'{attribute[0]}{name}="{chance.choice(_WORDS)}"',
            f'{attribute[0]} {chance.choice(_NAMES)}="{chance.choice(_WORDS)}"',
        )[what]
        return text[: attribute.start()] + new + text[attribute.end() :]
    end = element.end()
    if not element[3]:
        end = text.find(f"</{element[1]}>", end) + len(element[1]) + 3
    whole = text[element.start() : end]
    if what == 4:
        return text[: element.start()] + text[end:]
    if what == 5:
        return text[:end] + whole + text[end:]
    if what == 6:
        return text[: element.start()] + text[element.end() :]
    rest = text[: element.start()] + text[end:]
    targets = list(_ELEMENT.finditer(rest))
    at = chance.choice(targets).start() if targets else len(rest)
    return rest[:at] + whole + rest[at:]


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.cases(3)
def test_random_changes(seed: int) -> None:
    """Whatever random change makes lib3mf refuse a model, we report it."""
    chance = random.Random(seed)
    count = 0
    for _ in range(60):
        text = mutated(FULL, chance)
        data = threemf(text)
        # lib3mf wants a namespace declared before it is used within one tag; XML does not.
        if refused(data) and not re.search(r"<model[^>]*\s[pm]:[^>]*xmlns", text):
            count += 1
            assert reported(data), (refused(data), text)
    assert count > 10
