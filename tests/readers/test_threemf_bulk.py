"""The quick reading of lists gives what expat gives, or leaves the list to it."""

from __future__ import annotations

import random
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mesh_files import CORE, mesh_xml, model_xml, object_xml, triangles_xml, vertices_xml

from lint3d import ReadLimits
from lint3d.readers import threemf_bulk, threemf_document
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_attributes import Uuids
from lint3d.readers.threemf_bulk import blocks, read_block
from lint3d.readers.threemf_document import read_model


def read(text: str) -> tuple[list[object], list[object]]:
    """Everything that a model says, in a form that can be compared, and its faults."""
    faults = FaultList()
    model = read_model(text.encode(), "m", ReadLimits(), faults, Uuids(faults))
    said: list[object] = []
    for made in model.objects.values():
        vertices = None if made.vertices is None else made.vertices.tobytes()
        said.append((made.id, made.where, vertices, made.triangles.tobytes()))
    said += [(item.object_id, item.where) for item in model.items]
    return said, [(fault.message, fault.region) for fault in faults.faults()]


def is_quick(text: str) -> bool:
    content = text.encode()
    found = list(blocks(content))
    return bool(found) and all(
        chunk is not None for block in found for chunk in read_block(content, block)
    )


QUICK = {
    "plain": mesh_xml(),
    "no blanks": mesh_xml().replace("\n", ""),
    "blanks": mesh_xml().replace(" ", "  ").replace("=", " =\n\t"),
    "closed by hand": mesh_xml().replace('"/>', '"></vertex>', 4).replace("/>", "></triangle>"),
    "other order": mesh_xml(
        '<vertex z="1" x="2" y="3"/><vertex y="1" z="2" x="3"/>',
        '<triangle v3="0" v1="1" v2="1"/>',
    ),
    "properties": mesh_xml(
        None, triangles_xml().replace('v3="1"', 'v3="1" pid="5" p1="0" p2="1" p3="2"')
    ),
    "blanks in numbers": mesh_xml(vertices_xml().replace('"10"', '" 10 "')),
    "wrong indices": mesh_xml(None, triangles_xml().replace('"2"', '"-2"').replace('"3"', '"77"')),
    "empty": mesh_xml("", ""),
    "attribute of the list": mesh_xml().replace("<vertices>", '<vertices a="1" >'),
}
SLOW = {
    "comment": mesh_xml("<!-- > -->" + vertices_xml()),
    "comment with a list": mesh_xml(f"<!-- <vertices>{vertices_xml()}</vertices> -->"),
    "single quotes": mesh_xml().replace('"', "'"),
    "mixed quotes": mesh_xml().replace('x="10"', "x='10'"),
    "entity": mesh_xml(vertices_xml().replace('"10"', '"&#49;0"')),
    "word": mesh_xml(vertices_xml().replace('"10"', '"ten"')),
    "underscore": mesh_xml(vertices_xml().replace('"10"', '"1_0"')),
    "not finite": mesh_xml(vertices_xml().replace('"10"', '"nan"')),
    "too small": mesh_xml(vertices_xml().replace('"10"', '"1e-999"')),
    "fraction": mesh_xml(None, triangles_xml().replace('"2"', '"2.0"')),
    "large": mesh_xml(None, triangles_xml().replace('"2"', '"99999999999999999999"')),
    "missing": mesh_xml(vertices_xml().replace('x="10"', "")),
    "unknown attribute": mesh_xml(vertices_xml().replace('x="10"', 'x="10" w="1"')),
    "unknown element": mesh_xml(vertices_xml() + "<foo/>"),
    "text": mesh_xml("text" + vertices_xml()),
    "child": mesh_xml(vertices_xml().replace("/>", "><foo/></vertex>", 1)),
    "letter outside of ASCII": mesh_xml("é" + vertices_xml()),
}  # fmt: skip


@pytest.mark.parametrize("name", [*QUICK, *SLOW])
@pytest.mark.parametrize("chunk", [50, 1 << 22])
def test_same_as_expat(name: str, chunk: int, monkeypatch: pytest.MonkeyPatch) -> None:
    text = model_xml(object_xml(1, {**QUICK, **SLOW}[name]) + object_xml(2))
    monkeypatch.setattr(threemf_bulk, "CHUNK_BYTES", chunk)
    quick = read(text)
    monkeypatch.setattr(threemf_document, "blocks", lambda content: ())
    assert quick == read(text)


@pytest.mark.parametrize("name", QUICK)
def test_quick(name: str) -> None:
    assert is_quick(model_xml(object_xml(1, QUICK[name])))


@pytest.mark.parametrize("name", SLOW)
def test_left_to_expat(name: str) -> None:
    assert not is_quick(model_xml(object_xml(1, SLOW[name])))


@pytest.mark.parametrize(
    "inside",
    [
        f"<!-- <vertices>{vertices_xml()}</vertices> -->",
        f'<metadata name="Title"><![CDATA[<vertices>{vertices_xml()}</vertices>]]></metadata>',
        f"<?a <triangles>{triangles_xml()}</triangles>?>",
        f'<q:a xmlns:q="urn:q"><vertices xmlns="urn:q">{vertices_xml()}</vertices></q:a>',
    ],
)
def test_what_only_looks_like_a_list(inside: str, monkeypatch: pytest.MonkeyPatch) -> None:
    text = model_xml(inside=inside)
    quick = read(text)
    monkeypatch.setattr(threemf_document, "blocks", lambda content: ())
    assert quick == read(text)


def test_comment_within_a_prefixed_list() -> None:
    """expat stands in a list, but not at the tag that the text shows."""
    inner = f"<!-- <vertices>{vertices_xml()}</vertices> -->{vertices_xml()}"
    text = model_xml(object_xml(1, mesh_xml(inner)), attributes=f'xmlns:c="{CORE}"')
    text = text.replace("<vertices>\n", "<c:vertices>\n").replace(
        "\n</vertices>", "\n</c:vertices>"
    )
    said, _ = read(text)
    assert len(np.frombuffer(said[0][2])) == 12  # type: ignore[index, call-overload]


@settings(deadline=None)
@given(st.integers(0, 10**6))
def test_random_damage(seed: int) -> None:
    """Whatever is done to a list, both ways say the same."""
    chance = random.Random(seed)
    text = mesh_xml()
    for _ in range(chance.randint(1, 3)):
        at = chance.randrange(len(text))
        word = chance.choice(['"', "'", " ", "<", "/>", "-", ".", "e", "=", "1", "x", "&amp;", ""])
        text = text[:at] + word + text[at + chance.randint(0, 2) :]
    text = model_xml(object_xml(1, text))
    outcomes = []
    original = threemf_document.blocks
    for reading in (original, lambda content: ()):
        threemf_document.blocks = reading  # type: ignore[assignment]
        try:
            outcomes.append(read(text))
        except Exception as error:
            # expat counts columns differently when it is fed in pieces
            message = re.sub(r"column \d+", "", str(error))
            outcomes.append((type(error), message))  # type: ignore[arg-type]
        finally:
            threemf_document.blocks = original  # type: ignore[assignment]
    assert outcomes[0] == outcomes[1]


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False, allow_subnormal=False)))
def test_numbers_are_exact(values: list[float]) -> None:
    text = "".join(f'<vertex x="{value!r}" y="0" z="-0"/>' for value in values)
    said, _ = read(model_xml(object_xml(1, mesh_xml(text))))
    found = np.frombuffer(said[0][2]).reshape(-1, 3)  # type: ignore[index, call-overload]
    np.testing.assert_array_equal(found[:, 0], values)
