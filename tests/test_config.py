"""Settings: found, read, and refused with file, line and nearest key."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from lint3d.config import (
    Bounds,
    Config,
    ForFiles,
    apply_limit,
    check_selection,
    find_config,
    is_selected,
    read_config,
)
from lint3d.errors import ConfigurationError
from lint3d.readers import ReadLimits
from lint3d.requirement import Requirement

AT_LEAST = Requirement("at least", "mm", "sheet", low=0.6, uncertainty=0.1, level="warning")
AT_MOST = Requirement("at most", "mm", "sheet", high=90)
WITHIN = Requirement("within", "mm", "sheet", low=2, high=51)
SHARE = Requirement("at most", "1", "sheet", high=0.15)
NONE = Requirement("none", "1", "sheet")
INFORM = Requirement("inform", "1", "sheet")
RULES = {
    "walls/thin-wall": AT_LEAST,
    "house/tall": AT_MOST,
    "size/extent": WITHIN,
    "relief/share": SHARE,
    "solid/open-edge": NONE,
    "build/waste": INFORM,
}


def config(tmp_path: Path, text: str) -> Config:
    path = tmp_path / "lint3d.toml"
    path.write_text(text, encoding="utf-8")
    return read_config(path)


# --- limits ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "kind", "limit"),
    [
        ("walls/thin-wall=0.8", "at least", 0.8),
        ("walls/thin-wall=0.8mm", "at least", 0.8),
        ("walls/thin-wall = 0.8 mm", "at least", 0.8),
        ("walls/thin-wall=800um", "at least", 0.8),
        ("walls/thin-wall=800µm", "at least", 0.8),
        ("walls/thin-wall=800μm", "at least", 0.8),
        ("walls/thin-wall=0.1in", "at least", 2.54),
        ("walls/thin-wall>=0.8", "at least", 0.8),
        ("walls/thin-wall≥0.8", "at least", 0.8),
        ("walls/thin-wall<=5", "within", (0.6, 5.0)),
        ("house/tall=80", "at most", 80.0),
        ("house/tall<=80", "at most", 80.0),
        ("house/tall≤8cm", "at most", 80.0),
        ("size/extent>=0.8mm", "within", (0.8, 51.0)),
        ("size/extent<=40mm", "within", (2.0, 40.0)),
        ("relief/share=10%", "at most", 0.1),
        ("relief/share=0.1", "at most", 0.1),
        ("solid/open-edge<=3", "at most", 3.0),
        ("build/waste>=1", "at least", 1.0),
    ],
)
def test_a_limit_is_replaced(text: str, kind: str, limit: float | tuple[float, float]) -> None:
    rule, new = apply_limit(text, RULES)
    assert text.startswith(rule)
    assert (new.kind, new.limit) == (kind, limit)
    assert new.unit == RULES[rule].unit
    assert new.level == RULES[rule].level
    assert (new.source, new.uncertainty) == ("--limit", 0.0)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("walls/thin-wall", r"--limit walls/thin-wall: write RULE=NUMBER\[UNIT\]"),
        ("=3", r"write RULE=NUMBER"),
        ("walls/thin-wall=", r"write RULE=NUMBER"),
        ("walls/thin-wall<0.8", r"write RULE=NUMBER"),
        ("walls/thin-wal=1", "no rule 'walls/thin-wal' is on .did you mean 'walls/thin-wall'"),
        ("walls/thin-wall=thick", "'thick' is not a number with a unit"),
        ("walls/thin-wall=1deg", "'deg' does not measure what is given in 'mm'"),
        ("walls/thin-wall=10%", "'%' does not measure what is given in 'mm'"),
        ("walls/thin-wall==1", "is not a number"),
        ("size/extent=5", "sets both ends for 'size/extent'; write size/extent>=… or"),
        ("size/extent>=60", "the lower end would be above the upper end"),
        ("solid/open-edge=3", r"sets no limit for 'solid/open-edge' \(none\); write"),
        ("build/waste=3", r"sets no limit for 'build/waste' \(inform\); write"),
    ],
)
def test_a_wrong_limit_is_refused(text: str, message: str) -> None:
    with pytest.raises(ConfigurationError, match=message):
        apply_limit(text, RULES)


def test_a_limit_tells_where_it_was_written() -> None:
    assert apply_limit("house/tall=80", RULES, "lint3d.toml")[1].source == "lint3d.toml"
    with pytest.raises(ConfigurationError, match=r"^lint3d\.toml house/tall=x: "):
        apply_limit("house/tall=x", RULES, "lint3d.toml")


# --- selection ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("only", "without", "on"),
    [
        ([], [], True),
        (["solid"], [], True),
        (["solid/"], [], True),
        (["solid/open-edge"], [], True),
        (["walls"], [], False),
        (["sol"], [], False),
        ([], ["solid"], False),
        ([], ["solid/flipped-face"], True),
        (["solid/open-edge"], ["solid"], True),  # the longer name says more
        (["solid"], ["solid/open-edge"], False),
        (["solid"], ["solid"], False),
        (["walls", "solid"], [], True),
    ],
)
def test_is_selected(only: list[str], without: list[str], on: bool) -> None:
    assert is_selected("solid/open-edge", only, without) is on


def test_a_selection_that_does_not_exist_is_refused() -> None:
    check_selection(["walls", "walls/thin-wall"], RULES, "--only")
    with pytest.raises(
        ConfigurationError,
        match=r"--only wals: there is no such rule or family "
        r"\(did you mean 'walls'\?",
    ):
        check_selection(["wals"], RULES, "--only")
    for name in ("", "/", "walls/thin"):
        with pytest.raises(ConfigurationError, match="no such rule or family"):
            check_selection([name], RULES, "--without")


# --- the file -------------------------------------------------------------------------------------


def test_an_empty_file_changes_nothing(tmp_path: Path) -> None:
    assert config(tmp_path, "") == Config(base=tmp_path)


def test_every_setting_is_read(tmp_path: Path) -> None:
    found = config(
        tmp_path,
        """
        process = "own.toml"
        plugins = ["house.py", "a_module"]
        disable = ["size"]
        unit = "in"
        together = true
        only = ["solid", "walls"]
        without = "walls/slender"
        fail-on = ["review"]
        workers = 3
        [limits]
        "walls/thin-wall" = "0.8mm"
        "size/extent" = "<= 40 mm"
        "house/tall" = 80
        [read]
        faces = 1000
        archive_ratio = 50
        [bounds]
        seconds = 1.5
        memory_mb = 900
        [model]
        weld_mm = 0.01
        [[for]]
        match = "labels/**"
        process = "label.toml"
        only = ["relief"]
        [for.limits]
        "size/extent" = ">= 1 mm"
        [[for]]
        match = "*.stl"
        process = "mjt-meltable"
        without = ["solid"]
        """,
    )
    assert found == Config(
        process="own.toml",
        plugins=(str(tmp_path / "house.py"), "a_module"),
        disable=("size",),
        unit="in",
        together=True,
        only=("solid", "walls"),
        without=("walls/slender",),
        fail_on=("review",),
        workers=3,
        limits=("walls/thin-wall=0.8mm", "size/extent<= 40 mm", "house/tall=80"),
        read=ReadLimits(faces=1000, archive_ratio=50.0),
        bounds=Bounds(1.5, 900),
        weld_mm=0.01,
        for_files=(
            ForFiles(
                "labels/**", str(tmp_path / "label.toml"), ("size/extent>= 1 mm",), ("relief",),
                (), tmp_path,
            ),
            ForFiles("*.stl", "mjt-meltable", (), (), ("solid",), tmp_path),
        ),
        base=tmp_path,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("proces = 1", r"lint3d\.toml, line 1: 'proces' is not a key of the file .did you mean "
         r"'process'\?"),
        ("process = 1", "line 1: 'process' must be text"),
        ("together = 1", "line 1: 'together' must be true or false"),
        ("workers = 'two'", "line 1: 'workers' must be a number"),
        ("workers = 1.5", "line 1: 'workers' must be a number"),
        ("only = [1]", "line 1: 'only' must be a list of texts"),
        ("fail-on = ['reviews']", "line 1: 'reviews' is none of review, open, new .did you mean"),
        ("unit = 'parsec'", "'parsec' is no unit of length"),
        ("limits = 3", "line 1: 'limits' must be a table"),
        ("[bounds]\nsecond = 3", "line 2: 'second' is not a key of bounds .did you mean 'seconds'"),
        ("[bounds]\nseconds = 0", "line 2: 'seconds' must be a number above 0"),
        ("[bounds]\nseconds = nan", "line 2: 'seconds' must be a number above 0"),
        ("[bounds]\nmemory_mb = inf", "line 2: 'memory_mb' must be a number above 0"),
        ("[bounds]\nmemory_mb = 0.5", "line 2: 'memory_mb' must be a number above 0"),
        ("[read]\nfaces = '9'", "line 2: 'faces' must be a number"),
        ("[read]\nfaces = -1", "line 2: 'faces' must be a number above 0"),
        ("[model]\nweld_mm = -1", "line 2: 'weld_mm' must be 0 or more"),
        ("[model]\nweld_mm = inf", "line 2: 'weld_mm' must be 0 or more"),
        ("[model]\nweld = 1", "line 2: 'weld' is not a key of model"),
        ("[for]\nmatch = 'a'", r"line 1: write \[\[for\]\] with two brackets"),
        ("[[for]]\nmatch = 'a'\n[[for]]\nprocess = 'b'", r"line 3: a \[\[for\]\] table needs"),
        ("[[for]]\nmatch = 'a'\n[[for]]\nmatch = 1", "line 4: 'match' must be text"),
        ("[[for]]\nmatch = 'a'\nproces = 'b'", "line 3: 'proces' is not a key of for .did you"),
        ("[[for]]\nmatch = 'a'\n[[for]]\nmatch = 'b'\nonly = 3", "line 5: 'only' must be a list"),
        ("for = [3]", "line 1: for must be a table"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_line(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(ConfigurationError, match=message):
        config(tmp_path, text)


def test_zero_weld_tolerance_is_a_choice(tmp_path: Path) -> None:
    assert config(tmp_path, "[model]\nweld_mm = 0").weld_mm == 0.0
    assert math.isclose(config(tmp_path, "").weld_mm, 1e-4)


def test_the_nearest_settings_upward_are_found(tmp_path: Path) -> None:
    deep = tmp_path / "a" / "b" / "c"
    deep.mkdir(parents=True)
    assert find_config(deep) is None or not find_config(deep).is_relative_to(tmp_path)  # type: ignore[union-attr]
    (tmp_path / "lint3d.toml").touch()
    assert find_config(deep) == tmp_path / "lint3d.toml"
    (tmp_path / "a" / "lint3d.toml").touch()
    assert find_config(deep) == tmp_path / "a" / "lint3d.toml"


def test_settings_beyond_the_repository_do_not_count(tmp_path: Path) -> None:
    deep = tmp_path / "repository" / "parts"
    deep.mkdir(parents=True)
    (tmp_path / "lint3d.toml").touch()
    (tmp_path / "repository" / ".git").mkdir()
    assert find_config(deep) is None
    (tmp_path / "repository" / "lint3d.toml").touch()
    assert find_config(deep) == tmp_path / "repository" / "lint3d.toml"


# --- [[for]] --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("pattern", "path", "holds"),
    [
        ("labels/**", "labels/a.stl", True),
        ("labels/**", "labels/deep/er/a.stl", True),
        ("labels/**", "other/labels/a.stl", False),
        ("labels/**", "labels.stl", False),
        ("**/labels/*.stl", "labels/a.stl", True),
        ("**/labels/*.stl", "x/y/labels/a.stl", True),
        ("*.stl", "a.stl", True),
        ("*.stl", "x/a.stl", False),
        ("**", "x/a.stl", True),
        ("a?.stl", "ab.stl", True),
        ("a?.stl", "a/.stl", False),
        ("part[12].stl", "part1.stl", True),
        ("part[!12].stl", "part1.stl", False),
        ("part[!12].stl", "part3.stl", True),
        ("a+b(c).stl", "a+b(c).stl", True),
        ("plåt %20 #.stl", "plåt %20 #.stl", True),
        ("a.stl", "aXstl", False),
    ],
)
def test_patterns(tmp_path: Path, pattern: str, path: str, holds: bool) -> None:
    assert ForFiles(pattern, base=tmp_path).holds_for(tmp_path / path) is holds


def test_a_pattern_holds_only_below_its_own_folder(tmp_path: Path) -> None:
    one = ForFiles("**", base=tmp_path / "inside")
    assert not one.holds_for(tmp_path / "outside" / "a.stl")
    assert one.holds_for(tmp_path / "outside" / ".." / "inside" / "a.stl")


def test_a_pattern_is_about_the_name_not_about_what_a_link_points_to(tmp_path: Path) -> None:
    (tmp_path / "store").mkdir()
    (tmp_path / "store" / "x.stl").touch()
    labels = tmp_path / "kit" / "labels"
    labels.mkdir(parents=True)
    (labels / "a.stl").symlink_to(tmp_path / "store" / "x.stl")
    assert ForFiles("labels/**", base=tmp_path / "kit").holds_for(labels / "a.stl")
