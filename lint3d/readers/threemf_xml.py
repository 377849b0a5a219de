"""How is XML read without harm?

expat, with whole documents in memory, namespaces resolved ("uri name"), and no document type, so no
entity of any kind. Lines are counted from 1. Guarded by tests/readers/test_threemf_xml.py.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol
from xml.parsers import expat

from lint3d.errors import UnreadableFile
from lint3d.model import Region
from lint3d.readers.faultlist import FaultList, Kind

SEPARATOR = " "
PROCESSING = Kind(
    "XML part",
    "with a processing instruction, which not every program reads",
    "Remove the line that begins with '<?' behind the first one.",
)
CDATA = Kind(
    "XML part", "with a CDATA section, which not every program reads", "Write it as plain text."
)
NOT_UTF8 = Kind(
    "XML part", "that {is} not UTF-8, which not every program reads", "Save it as UTF-8."
)


class Handler(Protocol):
    """Who is told what stands in the document. `source` is set before anything is told."""

    source: XmlSource

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """An element begins; `tag` is "uri name", or "name" without a namespace."""

    def end(self, tag: str) -> None:
        """An element ends."""


class XmlSource:
    """One document on its way through expat, fed in pieces."""

    def __init__(self, member: str, handler: Handler, faults: FaultList) -> None:
        self.member = member
        handler.source = self
        self.skipped_bytes = 0
        self.skipped_lines = 0
        self.next_line = 1
        """Line at which the next piece begins."""
        self._parser = expat.ParserCreate(namespace_separator=SEPARATOR)
        self._parser.buffer_text = True
        self._parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        self._parser.StartElementHandler = handler.start
        self._parser.EndElementHandler = handler.end
        self._parser.StartDoctypeDeclHandler = self._refuse_doctype
        self._parser.EntityDeclHandler = self._refuse_doctype
        self._parser.ProcessingInstructionHandler = lambda *_: faults.count(PROCESSING, self.here)
        self._parser.StartCdataSectionHandler = lambda: faults.count(CDATA, self.here)
        self._faults = faults

    @property
    def line(self) -> int:
        """Line of the current element."""
        return self._parser.CurrentLineNumber + self.skipped_lines

    @property
    def byte(self) -> int:
        """Byte at which the current element begins."""
        return self._parser.CurrentByteIndex + self.skipped_bytes

    @property
    def here(self) -> Region:
        """Region of the current element."""
        return Region(member=self.member, start_line=self.line)

    def on_namespace(self, handler: Callable[[str | None, str | None], None]) -> None:
        """Have each namespace declaration told: prefix, uri."""
        self._parser.StartNamespaceDeclHandler = handler

    def on_text(self, handler: Callable[[str], None] | None) -> None:
        """Have text told, or no longer."""
        self._parser.CharacterDataHandler = handler

    def feed(self, piece: memoryview | bytes, is_last: bool = False) -> None:
        """The next piece of the document.

        Raises
        ------
        UnreadableFile : not well-formed, or with a document type
        """
        self.next_line += bytes(piece).count(b"\n")
        try:
            self._parser.Parse(piece, is_last)
        except expat.ExpatError as error:
            reason = expat.errors.messages.get(error.code, str(error))
            line = error.lineno + self.skipped_lines
            raise UnreadableFile(
                f"has an XML part that is broken: {self.member}, line {line}, near column "
                f"{error.offset + 1}: {reason}.",
                "Export the file again.",
                Region(member=self.member, start_line=line),
            ) from error
        except (ValueError, LookupError) as error:  # an encoding that Python or expat lacks
            raise UnreadableFile(
                f"has an XML part, {self.member}, that cannot be decoded ({error}).",
                "Save it as UTF-8.",
                Region(member=self.member, start_line=1),
            ) from error

    def skip(self, byte_count: int, line_count: int) -> None:
        """A piece of the document was read elsewhere."""
        self.skipped_bytes += byte_count
        self.skipped_lines += line_count
        self.next_line += line_count

    def _refuse_doctype(self, *_: object) -> None:
        raise UnreadableFile(
            f"has an XML part with a document type (DTD), which a 3MF must not have: "
            f"{self.member}, line {self.line}. It was not read.",
            "Export the file again; a DTD can be made to harm the program that reads it.",
            self.here,
        )


def parse(content: bytes, member: str, handler: Handler, faults: FaultList) -> None:
    """Read a small document whole.

    Raises
    ------
    UnreadableFile : not well-formed, or with a document type
    """
    source = XmlSource(member, handler, faults)
    tell_encoding(content, member, faults)
    source.feed(content, True)


def tell_encoding(content: bytes, member: str, faults: FaultList) -> None:
    """A fault if the document is not UTF-8."""
    declaration = content[:200].split(b"?>")[0].lower()
    wide = content.startswith((b"\xff\xfe", b"\xfe\xff", b"<\0", b"\0<"))
    named = b"encoding" in declaration and b"utf-8" not in declaration
    if wide or named:
        faults.count(NOT_UTF8, Region(member=member, start_line=1))
