"""The 3D library is where the page expects it, whole and without code made from text."""

import re
import zipfile
from pathlib import Path

import pytest
import trimesh

from lint3d.report.page_library import three_js


def test_the_installed_trimesh_carries_it() -> None:
    text = three_js()
    assert text is not None
    assert "Three.js Authors" in text[:200]
    assert "SPDX-License-Identifier: MIT" in text[:200]
    assert text.count("{") == text.count("}") or len(text) > 400_000
    assert "TrackballControls=function" not in text
    assert "</script" not in text.lower()
    assert "<!--" not in text
    assert not re.search(r"\beval\(|new Function\(", text)


@pytest.mark.parametrize("content", [None, b"no archive", "another viewer"])
def test_without_it_the_page_does_without(
    content: bytes | str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "resources" / "templates"
    folder.mkdir(parents=True)
    if isinstance(content, bytes):
        (folder / "viewer.zip").write_bytes(content)
    elif content is not None:
        with zipfile.ZipFile(folder / "viewer.zip", "w") as archive:
            archive.writestr("viewer.html.template", content)
    monkeypatch.setattr("lint3d.report.page_library.files", lambda module: tmp_path)
    assert three_js() is None
    assert trimesh.__version__
