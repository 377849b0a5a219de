"""XML without document types; lines stay right when a piece is read elsewhere."""

from __future__ import annotations

import pytest

from lint3d import UnreadableFile
from lint3d.readers.faultlist import FaultList
from lint3d.readers.threemf_xml import XmlSource, parse


class Recorder:
    """Remembers what it is told, with the line and byte."""

    source: XmlSource

    def __init__(self) -> None:
        self.told: list[tuple[str, int, int]] = []

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.told.append((tag, self.source.line, self.source.byte))

    def end(self, tag: str) -> None:
        """Ends are of no interest here."""


def test_namespaces_lines_and_bytes() -> None:
    recorder = Recorder()
    parse(b'<a xmlns="urn:a">\n <b/>\n</a>', "m", recorder, FaultList())
    assert recorder.told == [("urn:a a", 1, 0), ("urn:a b", 2, 19)]


def test_pieces_and_a_gap() -> None:
    """A list of 3 lines is left out between <b> and </b>."""
    recorder, text = Recorder(), b"<a>\n<b>\n\n\n</b><c/></a>"
    source = XmlSource("m", recorder, FaultList())
    source.feed(text[:7])
    source.skip(3, 3)
    source.feed(text[10:], True)
    assert recorder.told[-1] == ("c", 5, text.index(b"<c/>"))


@pytest.mark.parametrize(
    "text",
    [
        b"<!DOCTYPE a><a/>",
        b'<!DOCTYPE a SYSTEM "file:///etc/passwd"><a/>',
        b'<!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/passwd">]><a>&b;</a>',
        b'<!DOCTYPE a [<!ENTITY % b SYSTEM "http://a.example/">%b;]><a/>',
    ],
)
def test_document_types_are_refused(text: bytes) -> None:
    with pytest.raises(UnreadableFile, match="document type"):
        parse(text, "m", Recorder(), FaultList())


@pytest.mark.parametrize(
    "text", [b"", b"<a", b"<a>", b"<a/><b/>", b"<a>&b;</a>", b"<a b=1/>", b"\xff"]
)
def test_broken(text: bytes) -> None:
    with pytest.raises(UnreadableFile, match="broken: m, line 1, near column"):
        parse(text, "m", Recorder(), FaultList())


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (b"<?go there?><a/>", "processing instruction"),
        ('<?xml version="1.0" encoding="UTF-16"?><a/>'.encode("utf-16"), "not UTF-8"),
        (b'<?xml version="1.0" encoding="ISO-8859-1"?><a/>', "not UTF-8"),
    ],
)
def test_what_not_every_program_reads(text: bytes, says: str) -> None:
    faults = FaultList()
    parse(text, "m", Recorder(), faults)
    assert says in faults.faults()[0].message


def test_byte_order_mark_of_utf_8_is_fine() -> None:
    faults = FaultList()
    parse(b"\xef\xbb\xbf<a/>", "m", Recorder(), faults)
    assert faults.faults() == []
