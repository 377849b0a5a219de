"""Do any bytes whatsoever end in a reading or in `UnreadableFile`?

Random bytes, random cuts and random changes of sound files, through everything that looks at bytes:
the sniffing, all readers' claims, and every reader, whether it claims the file or not.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from mesh_files import (
    MATERIALS,
    ascii_stl,
    binary_stl,
    components_xml,
    item_xml,
    model_xml,
    object_xml,
    threemf,
    zipped,
)

from lint3d import Reading, ReadLimits, UnreadableFile
from lint3d.readers.sniff import unreadable_reason
from lint3d.readers.stl_ascii import AsciiStlReader
from lint3d.readers.stl_binary import BinaryStlReader
from lint3d.readers.threemf import ThreeMfReader

READERS = (BinaryStlReader(), AsciiStlReader(), ThreeMfReader())
LIMITS = ReadLimits(faces=50_000, archive_bytes=20_000_000)
MODEL = model_xml(
    '<basematerials id="5"><base name="a" displaycolor="#FF0000"/></basematerials>\n'
    + object_xml(more='pid="5" pindex="0"')
    + object_xml(2, components_xml(1, 1, more='transform="1 0 0 0 1 0 0 0 1 20 0 0"')),
    item_xml(2) + item_xml(1, "-1 0 0 0 1 0 0 0 1 0 0 0"),
    attributes=MATERIALS,
)
SOUND = (binary_stl(), ascii_stl(), ascii_stl(end="\r\n"), threemf(MODEL))
WORDS = [
    b"solid", b"endsolid", b"facet", b"endfacet", b"endloop", b"vertex", b"normal", b"nan",
    b"1e999", b"-", b"\n", b"\r", b" ", b"\0", b"<", b">", b'"', b"&", b"/>", b"<!--",
    b"<!DOCTYPE m>", b"-1",
    b"99999999999999999999", b"<vertices>", b"</vertices>", b"<vertex x='1'/>", b"\xff",
    b"PK\x03\x04",
]  # fmt: skip
relaxed = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True
)


def check(data: bytes) -> None:
    """Every reading keeps the promises of `ReadPart`; nothing else comes out."""
    for suffix in (".stl", ".3mf", ".other"):
        reason = unreadable_reason(data[:4096], suffix, len(data))
        assert reason is None or all(reason)
        for reader in READERS:
            assert 0 <= reader.claims(data[:4096], suffix, len(data)) <= 1
    for reader in READERS:
        outcome = read(reader, data)
        if isinstance(outcome, UnreadableFile):
            assert outcome.message.endswith(".")
            assert outcome.remedy
        else:
            check_reading(outcome)


def read(reader: Any, data: bytes) -> Reading | UnreadableFile:
    try:
        reading: Reading = reader.read(data, LIMITS)
    except UnreadableFile as error:
        return error
    return reading


def check_reading(reading: Reading) -> None:
    assert reading.parts
    for fault in reading.faults:
        assert fault.message.endswith(".")
        assert fault.remedy
        assert fault.count >= 1
        assert not fault.fatal
    for part in reading.parts:
        assert len(part.faces)
        assert part.faces.dtype == np.int64
        assert part.faces.min() >= 0
        assert part.faces.max() < len(part.vertices)
        assert np.isfinite(part.vertices[part.faces]).all()
        last = len(part.faces) - 1 if part.facet is None else int(part.facet[-1])
        region = part.provenance.locate(last)
        assert region.facet is not None


@relaxed
@given(st.binary(max_size=600))
@example(b"")
@example(b"solid")
@example(b"\xef\xbb\xbfsolid\nendsolid")
@example(b"PK\x05\x06" + bytes(18))
@example(b"PK\x03\x04")
def test_random_bytes(data: bytes) -> None:
    check(data)


@relaxed
@given(st.sampled_from(SOUND), st.floats(0, 1), st.floats(0, 1))
def test_random_cuts(data: bytes, begin: float, end: float) -> None:
    check(data[: int(end * len(data))])
    check(data[int(begin * len(data)) :])


changes = st.lists(
    st.tuples(st.floats(0, 1), st.integers(0, 12), st.sampled_from(WORDS) | st.binary(max_size=4)),
    min_size=1,
    max_size=6,
)


def changed(data: bytes, what: list[tuple[float, int, bytes]]) -> bytes:
    for place, length, new in what:
        at = int(place * len(data))
        data = data[:at] + new + data[at + length :]
    return data


@relaxed
@given(st.sampled_from(SOUND), changes)
def test_random_changes(data: bytes, what: list[tuple[float, int, bytes]]) -> None:
    check(changed(data, what))


@relaxed
@given(changes)
def test_random_changes_of_the_model(what: list[tuple[float, int, bytes]]) -> None:
    """Inside of the archive, so that they get past its checksums."""
    check(threemf(changed(MODEL.encode(), what)))


@relaxed
@given(st.dictionaries(st.text(max_size=8), st.binary(max_size=30), max_size=4))
def test_random_archives(members: dict[str, bytes]) -> None:
    check(zipped({name: text for name, text in members.items() if name.isprintable()}))


@pytest.mark.parametrize("reader", READERS, ids=lambda one: str(one.name))
def test_memoryview_will_do(reader: BinaryStlReader) -> None:
    for data in SOUND:
        if reader.claims(data[:4096], ".3mf" if data[:2] == b"PK" else ".stl", len(data)) > 0.8:
            assert reader.read(memoryview(data), LIMITS).parts
