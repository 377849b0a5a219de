"""The page in a real browser, without a network: it loads, turns, filters, runs nothing foreign.

Needs a Chromium (Debian's `chromium`, or any that LINT3D_CHROMIUM names) and playwright, which
drives it; skipped without them.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import parts
import pytest

import lint3d
from lint3d.report.page import PageWriter

CHROMIUM = os.environ.get("LINT3D_CHROMIUM") or shutil.which("chromium")
driver = pytest.importorskip("playwright.sync_api", reason="playwright drives the browser")
pytestmark = pytest.mark.skipif(not CHROMIUM, reason="no Chromium: set LINT3D_CHROMIUM")
KIT = Path(__file__).parents[2] / "fixtures"
HOSTILE = "<img src=x onerror=alert(1)>.stl"


@dataclass
class Watched:
    """A browser's page with what it complained of and asked for."""

    page: Any
    complaints: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)

    def rows(self) -> Any:
        return self.page.locator("#list > li > button")

    def camera(self) -> tuple[str, str, str]:
        self.page.wait_for_timeout(120)
        self.page.wait_for_selector("#stage[data-flying='false']")
        stage = self.page.locator("#stage")
        eye, target, width = (
            stage.get_attribute(f"data-{name}") for name in ("eye", "target", "width")
        )
        return eye, target, width

    def moved(self, before: tuple[str, str, str]) -> tuple[str, str, str]:
        """Where the camera stands once it has left a place."""
        for _ in range(40):
            now = self.camera()
            if now != before:
                return now
        raise AssertionError("the camera did not move")

    def tick(self, kind: str) -> None:
        self.page.locator(f"#by-kind input[value={kind}]").click()


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two bodies that come too near each other under a hostile name, a wall that is too thin."""
    folder = tmp_path_factory.mktemp("page")
    near = parts.joined(parts.box(10), parts.box(10, at=(10.05, 0, 0)))
    parts.write_stl(folder / HOSTILE, near)
    solid = "</script><script>alert(2)</script>"
    text = (KIT / "bracket.stl").read_text("ascii")
    first, rest = text.split("\n", 1)
    assert first.startswith("solid")
    (folder / "bracket.stl").write_text(f"solid {solid}\n{rest}", "ascii")
    return folder


@pytest.fixture(scope="module")
def report(files: Path) -> Path:
    inspection = lint3d.inspect(
        [files / HOSTILE, files / "bracket.stl"],
        only=["walls/thin-wall", "assembly/clearance", "size"],
        keep=PageWriter.needs,
        workers=0,
    )
    assert sorted({r.rule for r in inspection.results if r.kind == "fail"}) == [
        "assembly/clearance",
        "walls/thin-wall",
    ]
    target = files / "report.html"
    target.write_bytes(PageWriter().write(inspection))
    return target


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with driver.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(
            executable_path=CHROMIUM,
            args=[
                "--no-sandbox",
                "--use-angle=swiftshader",
                "--enable-unsafe-swiftshader",
                "--ignore-gpu-blocklist",
            ],
        )
        yield chromium
        chromium.close()


@pytest.fixture
def opened(browser: Any, report: Path, request: pytest.FixtureRequest) -> Iterator[Watched]:
    options = getattr(request, "param", {})
    context = browser.new_context(viewport={"width": 1000, "height": 640}, **options)
    watched = Watched(context.new_page())
    page = watched.page
    page.on("console", lambda message: watched.complaints.append(message.text))
    page.on("pageerror", lambda error: watched.complaints.append(str(error)))
    page.on("dialog", lambda dialog: watched.complaints.append(dialog.message))
    page.on("request", lambda one: watched.requests.append(one.url))
    page.goto(report.as_uri())
    if options.get("java_script_enabled", True):
        page.wait_for_selector("html[data-ready]")
    yield watched
    context.close()
    assert watched.complaints == []
    outside = [url for url in watched.requests if not url.startswith(("data:", "blob:"))]
    assert outside == [report.as_uri()]


def pixels(watched: Watched) -> int:
    """How many different colours the 3D view shows: an empty one shows a single one."""
    import io

    from PIL import Image

    shot = Image.open(io.BytesIO(watched.page.locator("#stage").screenshot())).convert("RGB")
    return len(shot.getcolors(1 << 20) or [])


def test_it_loads_and_draws_the_part(opened: Watched) -> None:
    assert opened.page.locator("#app").is_visible()
    assert not opened.page.locator("#flat").is_visible()
    opened.camera()
    assert opened.rows().count() == 2
    opened.page.evaluate("document.getElementById('over').remove()")
    assert pixels(opened) > 20


def test_choosing_a_result_flies_to_it_and_says_what_is_wrong(opened: Watched) -> None:
    seen = [opened.camera()]
    for row in range(2):
        opened.rows().nth(row).click()
        seen.append(opened.moved(seen[-1]))
        text = opened.page.locator("#over text").all_text_contents()
        assert "±" in text[0]
        assert text[1].startswith("required: at least")
        assert "Remedy:" in opened.page.locator(".detail").inner_text()
    assert len(set(seen)) == 3
    opened.page.keyboard.press("Escape")
    assert opened.page.locator(".detail").count() == 0


def test_the_place_is_in_the_middle_of_the_view(opened: Watched) -> None:
    data = opened.page.evaluate("JSON.parse(document.getElementById('data').textContent).results")
    before = opened.camera()
    for row in range(2):
        opened.rows().nth(row).click()
        before = opened.moved(before)
        target = [float(x) for x in before[1].split(",")]
        assert target == pytest.approx(data[row]["focus"], abs=2e-3)


def test_filters_by_verdict_family_and_body(opened: Watched) -> None:
    data = opened.page.evaluate("JSON.parse(document.getElementById('data').textContent).results")

    def listed(**asked: str) -> int:
        return sum(all(one.get(key) == value for key, value in asked.items()) for one in data)

    assert opened.rows().count() == listed(kind="fail")
    opened.tick("pass")
    opened.tick("fail")
    assert opened.rows().count() == listed(kind="pass") > 0
    opened.tick("fail")
    opened.page.locator("#by-family").select_option("walls")
    assert opened.rows().count() == listed(kind="pass", family="walls") + listed(
        kind="fail", family="walls"
    )
    opened.page.locator("#by-family").select_option("")
    body = opened.page.locator("#by-body option", has_text=HOSTILE).first.get_attribute("value")
    opened.page.locator("#by-body").select_option(body)
    names = [f"{one['body']} ({one['file']})" if "body" in one else one["file"] for one in data]
    assert opened.rows().count() == sum(
        name == body and one["kind"] in ("pass", "fail")
        for name, one in zip(names, data, strict=True)
    )
    assert f"of {len(data)} results" in opened.page.locator("#found").inner_text()


def test_it_works_by_keyboard(opened: Watched) -> None:
    before = opened.camera()
    opened.page.keyboard.press("n")
    chosen = opened.moved(before)
    assert opened.page.locator("#list li.chosen").count() == 1
    opened.page.locator("#stage").focus()
    opened.page.keyboard.press("ArrowLeft")
    turned = opened.moved(chosen)
    assert turned[0] != chosen[0]
    assert turned[1:] == chosen[1:]
    opened.page.keyboard.press("+")
    nearer = opened.moved(turned)
    assert float(nearer[2]) < float(turned[2])
    opened.page.keyboard.press("Shift+ArrowUp")
    aside = opened.moved(nearer)
    assert aside[1] != chosen[1]
    opened.page.keyboard.press("0")
    assert float(opened.moved(aside)[2]) > float(turned[2])
    second = opened.page.locator("#list > li").nth(1)
    opened.page.keyboard.press("p")
    assert second.get_attribute("class") == "fail chosen"
    opened.page.keyboard.press("Escape")
    assert second.get_attribute("class") == "fail"
    opened.rows().first.focus()
    opened.page.keyboard.press("ArrowDown")
    opened.page.keyboard.press("Enter")
    assert second.get_attribute("class") == "fail chosen"


def test_a_drag_turns_and_the_wheel_zooms(opened: Watched) -> None:
    before = opened.camera()
    box = opened.page.locator("#stage").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    opened.page.mouse.move(x, y + 120)
    opened.page.mouse.down()
    opened.page.mouse.move(x + 90, y + 130, steps=4)
    opened.page.mouse.up()
    turned = opened.moved(before)
    assert turned[1] == before[1]
    opened.page.mouse.wheel(0, -400)
    assert float(opened.moved(turned)[2]) < float(turned[2])


@pytest.mark.further
def test_section_see_through_and_thickness_change_the_picture(opened: Watched) -> None:
    opened.rows().nth(1).click()
    opened.camera()
    stage = opened.page.locator("#stage")
    plain = stage.screenshot()
    seen = {plain}
    for button in ("#through", "#thick", "#cut"):
        opened.page.locator(button).click()
        opened.page.wait_for_timeout(200)
        assert opened.page.locator(button).get_attribute("aria-pressed") == "true"
        seen.add(stage.screenshot())
        if button == "#thick":
            assert "Limit: at least 0.423 mm" in opened.page.locator("#scale").inner_text()
        opened.page.locator(button).click()
    opened.page.wait_for_timeout(200)
    assert len(seen) == 4
    opened.page.locator("#cut-way").select_option("z")
    opened.page.locator("#cut-at").fill("250")
    opened.page.wait_for_timeout(200)
    assert stage.screenshot() not in seen


@pytest.mark.further
def test_the_place_stays_marked_when_the_part_is_seen_through(opened: Watched) -> None:
    import io

    from PIL import Image

    before = opened.camera()
    opened.rows().nth(1).click()
    opened.moved(before)
    for button in (None, "#through"):
        if button:
            opened.page.locator(button).click()
            opened.page.wait_for_timeout(300)
        shot = opened.page.locator("#stage").screenshot()
        image = Image.open(io.BytesIO(shot)).convert("RGB")
        colours = image.getcolors(1 << 20) or []
        red = sum(count for count, (r, _, b) in colours if r - b > 60)
        assert red > 0.05 * image.width * image.height


def test_names_of_files_and_bodies_are_shown_and_never_run(opened: Watched) -> None:
    assert HOSTILE in opened.page.locator("#scene").inner_text()
    assert opened.page.locator("img[src=x]").count() == 0
    everything = opened.page.locator("body").inner_text()
    assert HOSTILE in everything
    assert "</script><script>alert(2)</script>" in everything
    for row in range(2):
        opened.rows().nth(row).click()
        opened.camera()
    # What the test's own hand puts in does not run either: the policy holds.
    opened.page.evaluate(
        "document.body.insertAdjacentHTML('beforeend', '<b onclick=\"document.title=1\">b</b>');"
        "document.body.lastElementChild.click()"
    )
    assert opened.page.title() == "Inspection of 2 files"
    refused = [text for text in opened.complaints if "Content Security Policy" in text]
    assert len(refused) == 1
    opened.complaints.remove(refused[0])


@pytest.mark.parametrize("opened", [{"color_scheme": "dark"}], indirect=True)
def test_it_is_dark_where_that_is_wished(opened: Watched) -> None:
    ground = opened.page.evaluate("getComputedStyle(document.body).backgroundColor")
    assert max(int(x) for x in ground.removeprefix("rgb(").rstrip(")").split(",")) < 60


def test_a_narrow_window_needs_no_sideways_scrolling(opened: Watched) -> None:
    opened.page.set_viewport_size({"width": 360, "height": 740})
    opened.page.wait_for_timeout(200)
    wide = opened.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= 360
    opened.rows().first.scroll_into_view_if_needed()
    opened.rows().first.click()
    assert opened.page.locator(".detail").is_visible()


def test_paper_gets_the_table_and_the_pictures(opened: Watched) -> None:
    opened.page.emulate_media(media="print")
    assert not opened.page.locator("#app").is_visible()
    assert opened.page.locator("#table table").is_visible()
    assert opened.page.locator("#table .picture img").first.is_visible()
    assert opened.page.pdf()[:5] == b"%PDF-"


@pytest.mark.parametrize("opened", [{"java_script_enabled": False}], indirect=True)
def test_without_script_the_table_and_the_pictures_stand(opened: Watched) -> None:
    assert not opened.page.locator("#app").is_visible()
    assert opened.page.locator("#flat").is_visible()
    assert opened.page.locator("#table .picture img").count() == 2


@pytest.mark.further
def test_without_webgl_the_table_and_the_pictures_stand(browser: Any, report: Path) -> None:
    page = browser.new_page()
    page.add_init_script("HTMLCanvasElement.prototype.getContext = () => null")
    page.goto(report.as_uri())
    page.wait_for_timeout(400)
    assert page.locator("#flat").is_visible()
    assert not page.locator("#app").is_visible()
    page.close()
