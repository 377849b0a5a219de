"""The page as a file: one, whole, the same twice, and nothing in it runs but its own script."""

import base64
import hashlib
import json
import re
from dataclasses import replace
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import inspections
import pytest
from click.testing import CliRunner

import lint3d
from lint3d.cli import main
from lint3d.inspection import Conceded, Inspection
from lint3d.report import Writer, picture_result
from lint3d.report.page import PageWriter
from lint3d.report.picture import write_pictures

KIT = Path(__file__).parents[2] / "fixtures"
HOSTILE = "<img src=x onerror=alert(1)>"


class Tags(HTMLParser):
    """Every tag of a page with its attributes, and the text of scripts and styles."""

    CDATA_CONTENT_ELEMENTS = ("script", "style")

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.inside: list[str] = []
        self.raw: dict[str, list[str]] = {"script": [], "style": [], "title": []}
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag in self.raw:
            self.inside.append(tag)
            self.raw[tag].append("")

    def handle_endtag(self, tag: str) -> None:
        if self.inside and self.inside[-1] == tag:
            self.inside.pop()

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.raw[self.inside[-1]][-1] += data


@pytest.fixture(scope="module")
def bracket() -> Inspection:
    return lint3d.inspect(
        [KIT / "bracket.stl"], only=["walls/thin-wall"], keep=PageWriter.needs, workers=0
    )


@pytest.fixture(scope="module")
def page(bracket: Inspection) -> str:
    return PageWriter().write(bracket).decode("utf-8")


def data_of(page: str) -> dict:
    return json.loads(Tags(page).raw["script"][0])


def test_it_is_a_writer_like_any_other() -> None:
    assert isinstance(PageWriter(), Writer)


def test_it_is_one_file_that_asks_for_nothing(page: str) -> None:
    for tag, attributes in Tags(page).tags:
        assert tag not in ("link", "iframe", "object", "embed", "base", "form")
        for name, value in attributes.items():
            assert not name.startswith("on"), (tag, name)
            assert name != "style", tag
            if name in ("src", "srcset", "action", "poster"):
                assert value is not None
                assert value.startswith("data:image/png;base64,")
            if name in ("href", "xlink:href"):
                assert value is not None
                assert value.startswith("#")
    own = Tags(page).raw["style"][0]
    assert "url(" not in own
    assert "@import" not in own


def test_the_policy_allows_its_own_script_and_style_and_nothing_else(page: str) -> None:
    tags = Tags(page)
    policy = next(a["content"] for t, a in tags.tags if t == "meta" and "http-equiv" in a)
    assert policy is not None
    assert policy.startswith("default-src 'none';")
    assert "unsafe" not in policy
    assert "*" not in policy
    digests = re.findall(r"'sha256-([^']+)'", policy)
    texts = [tags.raw["script"][1], tags.raw["style"][0]]
    assert digests == [
        base64.b64encode(hashlib.sha256(text.encode()).digest()).decode() for text in texts
    ]
    assert len(tags.raw["script"]) == 2


def test_it_is_the_same_twice(bracket: Inspection, page: str) -> None:
    assert PageWriter().write(bracket).decode("utf-8") == page


def test_it_holds_the_place_its_dimension_and_the_field(page: str) -> None:
    data = data_of(page)
    failed = data["results"][0]
    assert failed["kind"] == "fail"
    assert failed["measured"] == "0.350 ± 0.001 mm"
    assert sum((a - b) ** 2 for a, b in zip(*failed["ends"], strict=True)) ** 0.5 == pytest.approx(
        0.35, abs=0.001
    )
    assert failed["faces"]["count"] == 3 * 6
    (body,) = data["scenes"][0]["bodies"]
    assert body["field"]["high"] > 0.423
    assert data["limit"]["value"] == pytest.approx(0.423)
    assert "simplified here" not in page


def test_every_result_is_listed_and_told_on_paper() -> None:
    inspection = inspections.varied()
    page = PageWriter().write(inspection).decode("utf-8")
    data = data_of(page)
    assert len(data["results"]) == len(inspection.results)
    assert {r["kind"] for r in data["results"]} == {r.kind for r in inspection.results}
    told = [r for r in inspection.results if r.kind not in ("pass", "notApplicable")]
    assert page.count('<tr class="told">') == len(told)


def test_names_from_files_are_text() -> None:
    whole = inspections.varied()
    results = [
        replace(
            result,
            uri=HOSTILE + ".stl",
            body=f"</script><script>alert(2)</script>{HOSTILE}",
            message=f"<!-- <script>{HOSTILE}",
            remedy="]]></style><b onclick=alert(3)>",
            other=HOSTILE if result.other else None,
        )
        for result in whole.results
    ]
    artifacts = [replace(item, uri=HOSTILE, parent=None) for item in whole.artifacts]
    sheet = replace(whole.sheet, title=f"</style>{HOSTILE}")
    page = PageWriter().write(replace(whole, results=results, artifacts=artifacts[:1], sheet=sheet))
    tags = Tags(page.decode("utf-8"))
    assert len(tags.raw["script"]) == 2
    assert len(tags.raw["style"]) == 1
    assert not any(t == "b" and "onclick" in a for t, a in tags.tags)
    for tag, attributes in tags.tags:
        assert not (tag == "img" and attributes.get("src") == "x")
    assert tags.raw["title"] == [f"Inspection of {HOSTILE}"]
    assert HOSTILE in json.loads(tags.raw["script"][0])["results"][0]["file"]


def test_a_heavy_mesh_is_simplified_and_the_page_says_so(
    bracket: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    import shapes_basic as shapes

    monkeypatch.setattr("lint3d.report.page_scene.MOST_FACES", 3000)
    heavy = replace(bracket, kept={"bracket.stl#ring": {"mesh": shapes.torus(20, 5, 100, 60)}})
    page = PageWriter().write(heavy).decode("utf-8")
    assert re.search(r"simplified here: ring \([\d,]+ of 12,000 faces\)", page)
    (body,) = data_of(page)["scenes"][0]["bodies"]
    assert body["rows"]["count"] <= 3000


def test_without_the_library_it_is_still_a_page(
    bracket: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lint3d.report.page_document.three_js", lambda: None)
    page = PageWriter().write(bracket).decode("utf-8")
    assert "walls/thin-wall" in page
    assert page.count("<img ") == 2


def test_from_the_command_line(tmp_path: Path) -> None:
    target = tmp_path / "report.html"
    arguments = ["inspect", str(KIT / "bracket.stl"), "--only", "walls/thin-wall", "--page"]
    code = CliRunner().invoke(main, [*arguments, str(target), "--workers", "1"])
    assert code.exit_code == 1, code.output
    assert target.read_bytes().startswith(b"<!DOCTYPE html>")
    wrong = CliRunner().invoke(main, [*arguments, str(tmp_path / "report.pdf")])
    assert wrong.exit_code == 2
    assert "ends in .html" in wrong.stderr


def test_pictures_that_were_written_are_not_drawn_again(
    tmp_path: Path, page: str, bracket: Inspection, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn = []
    traced = picture_result.traced
    monkeypatch.setattr(
        picture_result, "traced", lambda *about: drawn.append(about) or traced(*about)
    )
    run = replace(bracket, drawn={})
    assert len(write_pictures(run, tmp_path)) == 2
    once = len(drawn)
    assert once > 0
    assert PageWriter().write(run).decode("utf-8") == page
    assert len(drawn) == once


def test_what_is_conceded_and_what_is_new_says_so() -> None:
    whole = inspections.varied()
    failed = next(result for result in whole.results if result.kind == "fail")
    given = Conceded("Tried & found strong.", "the bench", date(2027, 3, 31), 0.2)
    known = replace(failed, conceded=given, state="unchanged")
    new = replace(failed, position=(50.0, 0, 0), state="new", is_worse=True)
    page = PageWriter().write(replace(whole, results=[known, new], baseline="old.sarif"))
    first, second = data_of(page.decode("utf-8"))["results"]
    assert (first["kind"], first["state"]) == ("fail", "new")
    assert second["kind"] == "conceded"
    assert second["accepted"] == (
        "Accepted by the bench until 2027-03-31, up to 0.2: Tried & found strong."
    )
    assert b"Tried &amp; found strong." in page
