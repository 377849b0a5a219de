"""Process sheets: read, extended, validated; what is wrong is told with file and line."""

from __future__ import annotations

from pathlib import Path

import pytest

from lint3d.errors import ConfigurationError
from lint3d.requirement import Requirement
from lint3d.sheet import NO_SOURCE, Sheet, read_sheet

BASE = """\
[sheet]
title = "Base"
[liquid]
density = { value = 780, unit = "kg/m3", source = "practice" }
viscosity = { value = 6.5, unit = "mm2/s", at = "98.9 degC", source = "a paper" }
[support]
kind = "angle"
angle = 45
[rules."walls/thin-wall"]
at_least = 0.6
unit = "mm"
source = "base"
uncertainty = 0.05
level = "warning"
reason = "thin walls tear"
[rules."solid/open-edge"]
none = true
unit = "1"
source = "base"
[rules."house/tall"]
measure = "height"
at_most = 90
unit = "mm"
source = "shelf"
title = "Too tall"
remedy = "Split it."
"""


@pytest.fixture
def base(tmp_path: Path) -> dict[str, Path]:
    """A registered sheet."""
    path = tmp_path / "registered" / "base.toml"
    path.parent.mkdir()
    path.write_text(BASE)
    return {"base": path}


def child(tmp_path: Path, registered: dict[str, Path], text: str, extends: str = "base") -> Sheet:
    path = tmp_path / "child.toml"
    path.write_text(f'[sheet]\nextends = "{extends}"\n{text}', encoding="utf-8")
    return read_sheet(str(path), registered)


def test_a_sheet_is_read(base: dict[str, Path]) -> None:
    sheet = read_sheet("base", base)
    assert (sheet.name, sheet.title, sheet.chain) == ("base", "Base", ("base",))
    assert sheet.requirement("walls/thin-wall") == Requirement(
        "at least", "mm", "base", low=0.6, uncertainty=0.05, level="warning"
    )
    assert sheet.requirement("solid/open-edge") == Requirement("none", "1", "base")
    tall = sheet.entries["house/tall"]
    assert (tall.measure, tall.title, tall.remedy) == ("height", "Too tall", "Split it.")
    assert sheet.liquid is not None
    assert (sheet.liquid["density"].value, sheet.liquid["density"].unit) == (780, "kg/m3")
    assert sheet.liquid["viscosity"].at == "98.9 degC"
    assert sheet.support == {"kind": "angle", "angle": 45}
    assert sheet.requirement("no/such") is None


def test_a_child_keeps_what_it_does_not_say(tmp_path: Path, base: dict[str, Path]) -> None:
    sheet = child(tmp_path, base, "")
    parent = read_sheet("base", base)
    assert sheet.chain == ("child", "base")
    assert sheet.title == "child"
    assert {k: e.requirement for k, e in sheet.entries.items()} == {
        k: e.requirement for k, e in parent.entries.items()
    }
    assert sheet.liquid == parent.liquid
    assert sheet.support == parent.support


def test_a_stated_requirement_replaces_the_parents(tmp_path: Path, base: dict[str, Path]) -> None:
    """Limit, source and uncertainty belong together; unit and level stay."""
    sheet = child(tmp_path, base, '[rules."walls/thin-wall"]\nat_least = 0.8\nsource = "coupons"\n')
    assert sheet.requirement("walls/thin-wall") == Requirement(
        "at least", "mm", "coupons", low=0.8, level="warning"
    )
    assert sheet.entries["walls/thin-wall"].reason == "thin walls tear"


def test_a_new_limit_does_not_borrow_the_parents_source(
    tmp_path: Path, base: dict[str, Path]
) -> None:
    sheet = child(tmp_path, base, '[rules."walls/thin-wall"]\nat_least = 0.8\n')
    requirement = sheet.requirement("walls/thin-wall")
    assert requirement is not None
    assert requirement.source == NO_SOURCE


def test_a_level_alone_keeps_the_requirement(tmp_path: Path, base: dict[str, Path]) -> None:
    sheet = child(tmp_path, base, '[rules."walls/thin-wall"]\nlevel = "note"\n')
    assert sheet.requirement("walls/thin-wall") == Requirement(
        "at least", "mm", "base", low=0.6, uncertainty=0.05, level="note"
    )


def test_the_kind_can_change(tmp_path: Path, base: dict[str, Path]) -> None:
    text = (
        '[rules."walls/thin-wall"]\nat_least = 0.6\nat_most = 5\n'
        '[rules."house/tall"]\ninform = true\n'
    )
    sheet = child(tmp_path, base, text)
    within, inform = sheet.requirement("walls/thin-wall"), sheet.requirement("house/tall")
    assert within is not None
    assert inform is not None
    assert (within.kind, within.limit) == ("within", (0.6, 5.0))
    assert (inform.kind, inform.unit) == ("inform", "mm")
    assert sheet.entries["house/tall"].measure == "height"


def test_off_and_on_again(tmp_path: Path, base: dict[str, Path]) -> None:
    off = child(tmp_path, base, '[rules."walls/thin-wall"]\noff = true\n')
    assert "walls/thin-wall" in off.entries
    assert off.requirement("walls/thin-wall") is None
    grandchild = tmp_path / "grandchild.toml"
    grandchild.write_text(
        '[sheet]\nextends = "child.toml"\n[rules."walls/thin-wall"]\nat_least = 1\nunit = "mm"\n'
    )
    on = read_sheet(str(grandchild), base)
    assert on.chain == ("grandchild", "child", "base")
    assert on.requirement("walls/thin-wall") == Requirement("at least", "mm", NO_SOURCE, low=1.0)


def test_a_level_alone_does_not_turn_a_rule_on(tmp_path: Path, base: dict[str, Path]) -> None:
    child(tmp_path, base, '[rules."walls/thin-wall"]\noff = true\n')
    grandchild = tmp_path / "grandchild.toml"
    grandchild.write_text(
        '[sheet]\nextends = "child.toml"\n[rules."walls/thin-wall"]\nlevel = "note"\n'
    )
    with pytest.raises(ConfigurationError, match=r"grandchild\.toml, line 3: says nothing to"):
        read_sheet(str(grandchild), base)


def test_constants_are_merged_one_by_one(tmp_path: Path, base: dict[str, Path]) -> None:
    text = '[liquid]\ndensity = { value = 800, unit = "kg/m3" }\n[support]\nkind = "shadow"\n'
    sheet = child(tmp_path, base, text)
    assert sheet.liquid is not None
    assert (sheet.liquid["density"].value, sheet.liquid["density"].source) == (800, NO_SOURCE)
    assert sheet.liquid["viscosity"].value == 6.5
    assert sheet.support["kind"] == "shadow"


def test_a_path_is_relative_to_the_sheet_that_names_it(
    tmp_path: Path, base: dict[str, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "sheets"
    folder.mkdir()
    (folder / "parent.toml").write_text('[sheet]\nextends = "base"\ntitle = "Parent"\n')
    (folder / "own.toml").write_text('[sheet]\nextends = "parent.toml"\n')
    monkeypatch.chdir(tmp_path)
    assert read_sheet("sheets/own.toml", base).chain == ("own", "parent", "base")
    assert read_sheet("own.toml", base, folder).chain == ("own", "parent", "base")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[rules."walls/thin-wall"]\nat_lest = 1\n',
         r"child\.toml, line 4: 'at_lest' is not a key of rules\.\"walls/thin-wall\" .did you mean "
         r"'at_least'\?"),
        ("[liqid]\n", r"line 3: 'liqid' is not a key of the file .did you mean 'liquid'\?"),
        ("[liquid]\nd = { vale = 1 }\n", r"line 4: 'vale'.*did you mean 'value'"),
        ("[liquid]\nd = 780\n", r"line 4: liquid\.d must be a table"),
        ("[liquid]\nd = { value = 1 }\n", r"line 4: 'd' needs a value and a unit"),
        ("[support]\nkind = 'shade'\n", r'line 4: kind must be "shadow", "angle" or "none"'),
        ('rules = 3\n', r"'rules' is not a key of sheet|'rules' must be a table"),
        ('[rules."a/b"]\nunit = "mm"\n', "line 3: says nothing to require; give at_least"),
        ('[rules."a/b"]\nat_least = 1\n', "line 3: has no unit"),
        ('[rules."a/b"]\nat_least = 1\nunit = "furlong"\n', "line 5: 'furlong' is no unit"),
        ('[rules."a/b"]\nat_least = 1\nunit = "µm"\n', "line 5: 'µm' is no unit of a limit"),
        ('[rules."a/b"]\nat_least = 3\nat_most = 1\nunit = "mm"\n',
         "line 4: at_least is larger than at_most"),
        ('[rules."a/b"]\nat_least = 3\nnone = true\nunit = "mm"\n',
         "line 3: says none and at_least/at_most at once"),
        ('[rules."a/b"]\noff = true\ninform = true\n', "line 3: says inform and off at once"),
        ('[rules."a/b"]\nat_least = "3"\nunit = "mm"\n', "line 4: 'at_least' must be a number"),
        ('[rules."a/b"]\nat_least = true\nunit = "mm"\n', "line 4: 'at_least' must be a number"),
        ('[rules."a/b"]\nat_least = nan\nunit = "mm"\n', "line 3: a limit must be a finite number"),
        ('[rules."a/b"]\nat_most = inf\nunit = "mm"\n', "line 3: a limit must be a finite number"),
        ('[rules."a/b"]\nat_most = 1\nunit = "mm"\nuncertainty = -1\n',
         "line 6: an uncertainty cannot be below 0"),
        ('[rules."a/b"]\nat_most = 1\nunit = "mm"\nlevel = "fatal"\n',
         "line 6: level must be error, warning or note"),
        ('[rules."walls/thin-wall"]\nuncertainty = -1\n',
         "line 4: an uncertainty cannot be below 0"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_line(
    tmp_path: Path, base: dict[str, Path], text: str, message: str
) -> None:
    with pytest.raises(ConfigurationError, match=message):
        child(tmp_path, base, text)


def test_an_unknown_parent_is_told_where_it_is_named(tmp_path: Path, base: dict[str, Path]) -> None:
    with pytest.raises(
        ConfigurationError,
        match=r"child\.toml, line 2: there is no sheet 'bse' "
        r"\(did you mean 'base'\?",
    ):
        child(tmp_path, base, "", extends="bse")


def test_an_unknown_sheet_lists_the_registered_ones(base: dict[str, Path]) -> None:
    with pytest.raises(ConfigurationError, match="no sheet 'qqq'; registered sheets: base"):
        read_sheet("qqq", base)
    with pytest.raises(ConfigurationError, match=r"no sheet 'no/such\.toml'"):
        read_sheet("no/such.toml", base)


def test_sheets_that_extend_each_other_are_refused(tmp_path: Path) -> None:
    for name, parent in (("a", "b"), ("b", "c"), ("c", "a")):
        (tmp_path / f"{name}.toml").write_text(f'[sheet]\nextends = "{parent}.toml"\n')
    with pytest.raises(ConfigurationError, match="in a circle: a -> b -> c -> a"):
        read_sheet(str(tmp_path / "a.toml"), {})
    (tmp_path / "own.toml").write_text('[sheet]\nextends = "own.toml"\n')
    with pytest.raises(ConfigurationError, match="in a circle: own -> own"):
        read_sheet(str(tmp_path / "own.toml"), {})


def test_the_digest_tells_every_change_and_nothing_else(
    tmp_path: Path, base: dict[str, Path]
) -> None:
    plain = child(tmp_path, base, "")
    moved = child(tmp_path, base, "\n\n# a comment\n")
    assert plain.digest == moved.digest
    for text in (
        '[rules."walls/thin-wall"]\nat_least = 0.7\n',
        '[rules."walls/thin-wall"]\nlevel = "error"\n',
        '[rules."walls/thin-wall"]\nuncertainty = 0.06\n',
        '[rules."walls/thin-wall"]\noff = true\n',
        '[liquid]\ndensity = { value = 781, unit = "kg/m3", source = "practice" }\n',
        '[support]\nkind = "none"\n',
    ):
        assert child(tmp_path, base, text).digest != plain.digest, text


def test_the_digest_does_not_depend_on_the_folder(tmp_path: Path, base: dict[str, Path]) -> None:
    other = tmp_path / "elsewhere" / "base.toml"
    other.parent.mkdir()
    other.write_text(BASE)
    assert read_sheet("base", {"base": other}).digest == read_sheet("base", base).digest


def test_the_cleaning_position_is_read_inherited_and_given_up(
    tmp_path: Path, base: dict[str, Path]
) -> None:
    assert read_sheet("base", base).cleaning_up is None
    sheet = child(tmp_path, base, "[cleaning]\nup = [0, 0, 1]\n")
    assert sheet.cleaning_up == (0.0, 0.0, 1.0)
    assert sheet.digest != child(tmp_path, base, "").digest
    child(tmp_path, base, "[cleaning]\nup = [0.5, -1, 0]\n")
    for text, expected in (("", (0.5, -1.0, 0.0)), ('[cleaning]\nup = "best"\n', None)):
        grandchild = tmp_path / "grandchild.toml"
        grandchild.write_text(f'[sheet]\nextends = "child.toml"\n{text}')
        assert read_sheet(str(grandchild), base).cleaning_up == expected


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ("up = [0, 0]", r"line 4: up must be"),
        ("up = [0, 0, 0]", r"line 4: up must be"),
        ("up = [0, 0, true]", r"line 4: up must be"),
        ("up = [0, 0, inf]", r"line 4: up must be"),
        ('up = "z"', r"line 4: up must be"),
        ("up = 1", r"line 4: 'up' must be a list or text"),
        ("upp = [0, 0, 1]", r"line 4: 'upp' is not a key of cleaning .did you mean 'up'"),
    ],
)
def test_a_wrong_cleaning_position_is_named_with_its_line(
    table: str, said: str, tmp_path: Path, base: dict[str, Path]
) -> None:
    with pytest.raises(ConfigurationError, match=said):
        child(tmp_path, base, f"[cleaning]\n{table}\n")


def test_what_a_sign_asks_for_goes_on_any_process(tmp_path: Path, base: dict[str, Path]) -> None:
    """Of a list the first is the parent; the others add what they state themselves."""
    other = tmp_path / "sign.toml"
    other.write_text(
        '[sheet]\nextends = "does-not-matter"\n[relief]\nlone_marks = "judge"\n'
        '[rules."relief/raised-height"]\nat_least = 0.8\nunit = "mm"\n'
    )
    own = tmp_path / "own.toml"
    own.write_text('[sheet]\nextends = ["base", "sign.toml"]\n')
    sheet = read_sheet(str(own), base)
    plain = read_sheet("base", base)
    assert sheet.chain == ("own", "sign", *plain.chain)
    assert set(sheet.entries) == {*plain.entries, "relief/raised-height"}
    assert sheet.lone_marks == "judge"
    assert plain.lone_marks == "inform"
    own.write_text('[sheet]\nextends = ["base", 3]\n')
    with pytest.raises(ConfigurationError, match="a list of names"):
        read_sheet(str(own), base)
    own.write_text('[sheet]\nextends = ["base", "sgin"]\n')
    with pytest.raises(ConfigurationError, match=r"own\.toml"):
        read_sheet(str(own), base)
