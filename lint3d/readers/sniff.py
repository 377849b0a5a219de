"""Is this file what its name says?

Looked at before any reader: an empty file, a pointer left by Git LFS, a web page, an archive or
another format under a mesh's suffix each get their own sentence. Only suffixes that lint3d reads
itself are judged beyond the first two: a plugin's format is the plugin's affair.
"""

from __future__ import annotations

import re

#: Suffixes whose content is judged here.
JUDGED = (".stl", ".3mf")
UTF8_BOM = b"\xef\xbb\xbf"
_CONTROL = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1a")) + b"\x7f"
_STL_LINE = re.compile(rb"^[ \t]*(solid|facet|outer|vertex)\b", re.I | re.M)

_LFS = b"version https://git-lfs.github.com/spec/"
#: First bytes, what they mean, and a suffix that would fit (None: no mesh).
_MAGIC: tuple[tuple[bytes, str, str | None], ...] = (
    (b"\x1f\x8b", "a gzip archive", None),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive", None),
    (b"Rar!\x1a\x07", "a RAR archive", None),
    (b"BZh", "a bzip2 archive", None),
    (b"\xfd7zXZ\x00", "an xz archive", None),
    (b"\x28\xb5\x2f\xfd", "a Zstandard archive", None),
    (b"%PDF-", "a PDF document", None),
    (b"\x89PNG\r\n", "a PNG picture", None),
    (b"\xff\xd8\xff", "a JPEG picture", None),
    (b"GIF8", "a GIF picture", None),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "a compound document of a CAD or office program", None),
    (b"\x7fELF", "a program", None),
    (b"glTF", "binary glTF", ".glb"),
    (b"ISO-10303-21", "a STEP file", ".step"),
    (b"ply\n", "a PLY file", ".ply"),
    (b"ply\r", "a PLY file", ".ply"),
    (b"#VRML", "a VRML file", ".wrl"),
    (b"OFF\n", "an OFF file", ".off"),
    (b"OFF\r", "an OFF file", ".off"),
    (b"OFF ", "an OFF file", ".off"),
    (b"COFF", "an OFF file", ".off"),
)
_TEXT_FORMATS: tuple[tuple[re.Pattern[bytes], str, str | None], ...] = (
    (re.compile(rb"<(!doctype\s+html|html|head|body)\b", re.I), "a web page", None),
    (re.compile(rb"<(\w+:)?model\b[^>]*3dmanufacturing", re.I), "the bare model of a 3MF", None),
    (re.compile(rb"<amf\b", re.I), "an AMF file", ".amf"),
    (re.compile(rb"<x3d\b", re.I), "an X3D file", ".x3d"),
    (re.compile(rb"<collada\b", re.I), "a COLLADA file", ".dae"),
    (re.compile(rb"<svg\b", re.I), "an SVG drawing", ".svg"),
    (re.compile(rb"\A\s*\{.*\"asset\"", re.S), "a glTF file", ".gltf"),
    (re.compile(rb"\A\s*0\s*[\r\n]+\s*SECTION\b"), "a DXF drawing", ".dxf"),
    (re.compile(rb"^v +[-+.\d]\S* +[-+.\d]\S* +[-+.\d]", re.M), "an OBJ file", ".obj"),
    (re.compile(rb"\A\s*<\?xml"), "an XML document", None),
    (re.compile(rb"\A\s*[{\[]\s*[\"\]}{\[]"), "a JSON document", None),
)


def looks_like_text(head: bytes) -> bool:
    """Is there no byte that text in ASCII, UTF-8 or Latin-1 would not have?

    Examples
    --------
    >>> looks_like_text(b"solid caf\\xe9\\r\\n"), looks_like_text(b"solid\\x00")
    (True, False)
    """
    return len(head.translate(None, _CONTROL)) == len(head)


def unreadable_reason(head: bytes, suffix: str, length: int) -> tuple[str, str] | None:
    """Why no reader need look at this file: (message, remedy), or None.

    Parameters
    ----------
    head : the first 4096 bytes, fewer if the file is shorter
    suffix : with the dot, small letters
    length : of the whole file, in bytes

    Examples
    --------
    >>> unreadable_reason(b"", ".stl", 0)[0]
    'is empty (0 bytes).'
    >>> unreadable_reason(b"PK\\x03\\x04", ".3mf", 4000) is None
    True
    """
    if length == 0:
        return "is empty (0 bytes).", "Copy or export the file again."
    if head.startswith(_LFS):
        return (
            "is a Git LFS pointer: a note of where the file is kept, not the file.",
            "Run `git lfs pull` in the repository that it comes from.",
        )
    if suffix not in JUDGED or (suffix == ".stl" and _is_exact_binary_stl(head, length)):
        return None
    found = _other_format(head, suffix)
    if found is None:
        return None
    what, fitting = found
    if fitting is None:
        remedy = (
            f"Unpack or convert it, or fetch the right file; {_shown(suffix)} is expected here."
        )
    else:
        remedy = f"Rename it to {fitting}, or export the part as {_shown(suffix)}."
    return f"has the suffix {suffix} but looks like {what}.", remedy


def _shown(suffix: str) -> str:
    return {".stl": "STL", ".3mf": "3MF"}[suffix]


def _is_exact_binary_stl(head: bytes, length: int) -> bool:
    """Does the length fit the stated number of facets? Then its header may be anything."""
    return length >= 84 and length == 84 + 50 * int.from_bytes(head[80:84], "little")


def _other_format(head: bytes, suffix: str) -> tuple[str, str | None] | None:
    """What the bytes look like and a suffix that fits, if it is not what the suffix says."""
    if head.startswith((b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")):
        return None if suffix == ".3mf" else _archive(head)
    for magic, what, fitting in _MAGIC:
        if head.startswith(magic):
            return what, fitting
    if head.startswith((b"\xff\xfe", b"\xfe\xff")) or _is_wide_text(head):
        return "text in UTF-16; only ASCII, UTF-8 and Latin-1 are read", None
    if not looks_like_text(head):
        return None
    text = head.removeprefix(UTF8_BOM)
    if _STL_LINE.search(text) and not text.lstrip().startswith(b"<"):
        return None if suffix == ".stl" else ("an ASCII STL", ".stl")
    for pattern, what, fitting in _TEXT_FORMATS:
        if pattern.search(text):
            return what, fitting
    return (
        (f"plain text (it begins with {_beginning(text)})", None)
        if text.strip()
        else ("nothing but blanks", None)
    )


def _archive(head: bytes) -> tuple[str, str | None]:
    if b"[Content_Types].xml" in head or b"3D/" in head:
        return "a 3MF", ".3mf"
    return "a ZIP archive", None


def _is_wide_text(head: bytes) -> bool:
    """ASCII letters with a zero byte after (or before) each: UTF-16 without its mark."""
    pairs = head[:64]
    return len(pairs) >= 16 and (
        (not any(pairs[1::2]) and looks_like_text(pairs[0::2]))
        or (not any(pairs[0::2]) and looks_like_text(pairs[1::2]))
    )


def _beginning(text: bytes) -> str:
    words = " ".join(text[:200].decode("latin-1").split())
    return f"'{words[:40]}{'…' if len(words) > 40 else ''}'"
