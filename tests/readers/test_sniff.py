"""What a file is, told from its first bytes."""

from __future__ import annotations

import pytest
from mesh_files import ascii_stl, binary_stl, model_xml, threemf, zipped

from lint3d.readers.sniff import looks_like_text, unreadable_reason


def reason(data: bytes, suffix: str = ".stl") -> str:
    found = unreadable_reason(data[:4096], suffix, len(data))
    return " ".join(found) if found else ""


POINTER = b"version https://git-lfs.github.com/spec/v1\noid sha256:12ab\nsize 12\n"


@pytest.mark.parametrize("suffix", [".stl", ".3mf", ".anything"])
def test_whatever_the_suffix(suffix: str) -> None:
    assert "is empty" in reason(b"", suffix)
    assert "Git LFS pointer" in reason(POINTER, suffix)
    assert "git lfs pull" in reason(POINTER, suffix)


@pytest.mark.parametrize(
    "data",
    [
        binary_stl(),
        binary_stl()[:300],
        binary_stl(header=b"solid"),
        binary_stl(header=b"<html>"),
        binary_stl(header=b"ply\n"),
        binary_stl(header=b"PK\x03\x04"),
        ascii_stl(),
        ascii_stl(end="\r"),
        b"\xef\xbb\xbf" + ascii_stl(),
        "solid Gehäuse\nfacet".encode("latin-1"),
        b"\n\n  SOLID x\n",
        b"facet normal 0 0 1\n",
    ],
)
def test_what_an_stl_may_look_like(data: bytes) -> None:
    assert reason(data) == ""


def test_what_a_3mf_may_look_like() -> None:
    assert reason(threemf(), ".3mf") == ""
    assert reason(b"\x00\x01\x02", ".3mf") == ""  # the reader says that it is no archive


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (zipped({"a.txt": "a"}), "a ZIP archive"),
        (threemf(), "looks like a 3MF"),
        (b"\x1f\x8b\x08\x00" + bytes(50), "gzip"),
        (b"%PDF-1.7\n", "PDF"),
        (b"\x89PNG\r\n\x1a\n", "PNG"),
        (b"glTF\x02\x00\x00\x00", "glTF"),
        (b"ISO-10303-21;\nHEADER;", "STEP"),
        (b"ply\nformat ascii 1.0\n", "PLY"),
        (b"OFF\n8 6 12\n", "OFF"),
        (b"# made by hand\nv 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n", "OBJ"),
        (b"  0\nSECTION\n  2\nHEADER\n", "DXF"),
        (b"#VRML V2.0 utf8\n", "VRML"),
        (b"<!DOCTYPE html><html>", "web page"),
        (b"<html><head><title>solid</title>", "web page"),
        (model_xml().encode(), "bare model of a 3MF"),
        (b'<?xml version="1.0"?>\n<amf unit="inch">', "AMF"),
        (b'<?xml version="1.0"?>\n<thing/>', "XML"),
        (b'{"error": "not found"}', "JSON"),
        (b"Dear colleague,\nplease find attached", "plain text (it begins with 'Dear colleague"),
        (b"   \n  ", "nothing but blanks"),
        (ascii_stl().decode().encode("utf-16"), "UTF-16"),
        (ascii_stl().decode().encode("utf-16-le"), "UTF-16"),
    ],
)
def test_something_else_under_an_stl_name(data: bytes, says: str) -> None:
    assert says in reason(data)
    assert reason(data).startswith("has the suffix .stl but looks like")


def test_an_stl_under_a_3mf_name() -> None:
    assert "Rename it to .stl" in reason(ascii_stl(), ".3mf")


def test_other_suffixes_are_a_plugin_s_affair() -> None:
    assert reason(b"some text", ".pts") == ""
    assert reason(threemf(), ".zip") == ""


def test_text() -> None:
    assert looks_like_text("Größe\t1\r\n".encode())
    assert looks_like_text("Größe".encode("latin-1"))
    assert not looks_like_text(b"a\x00b")
    assert not looks_like_text(b"a\x1bb")
