"""What is required of one file: sheet, [[for]] tables, limits and selection together."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from house import registry_of, sheet_text, write

from lint3d import Body, ConfigurationError, PluginError, Source, measure, rule
from lint3d.config import Config, ForFiles, read_config
from lint3d.plan import SheetRule
from lint3d.requirements import Requirements


@measure(unit="mm")
def height(body: Body) -> float:
    """How tall?"""
    return 1.0


@rule("house/tall", measures="mm")
def tall(height: float) -> float:
    """Too tall."""
    return height


@rule("house/odd", measures="1")
def odd(source: Source) -> None:
    """Odd."""


@rule("other/wide", measures="mm")
def wide(body: Body) -> float:
    """Too wide."""
    return 1.0


RULES = {
    "house/tall": 'at_most = 90\nunit = "mm"',
    "house/odd": 'none = true\nunit = "1"',
    "other/wide": 'at_least = 1\nat_most = 300\nunit = "mm"',
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write(tmp_path / "own.toml", sheet_text(RULES))
    return tmp_path


def requirements(folder: Path, **settings: object) -> Requirements:
    config = replace(Config(process="own.toml", base=folder), **settings)  # type: ignore[arg-type]
    return Requirements(registry_of(height, tall, odd, wide), config)


def test_every_rule_of_the_sheet_is_on(folder: Path) -> None:
    general = requirements(folder).general
    assert {k: r.text() for k, r in general.requirements.items()} == {
        "house/tall": "at most 90 mm", "house/odd": "none", "other/wide": "1 to 300 mm",
    }  # fmt: skip
    assert not general.off
    assert not general.overrides


def test_why_a_rule_is_off(folder: Path) -> None:
    write(
        folder / "child.toml",
        '[sheet]\nextends = "own.toml"\n[rules."house/tall"]\noff = true\n',
    )
    write(folder / "bare.toml", sheet_text({"house/tall": RULES["house/tall"]}))
    child = requirements(folder, process="child.toml", without=("other",))
    assert child.general.off == {
        "house/tall": "turned off by the sheet child", "other/wide": "not selected",
    }  # fmt: skip
    both = Config(process="bare.toml", base=folder, for_files=(
        ForFiles("*", process=str(folder / "own.toml"), base=folder),
    ))  # fmt: skip
    bare = Requirements(registry_of(height, tall, odd, wide), both)
    assert bare.general.off["house/odd"] == "the sheet bare has no entry for it"
    assert bare.for_file(folder / "a.stl").off == {}


def test_limits_win_in_the_order_settings_for_command_line(folder: Path) -> None:
    """The general limit, the one for some files, and --limit, which wins over both."""
    settings = write(
        folder / "lint3d.toml",
        """
        process = "own.toml"
        [limits]
        "other/wide" = "<= 200 mm"
        [[for]]
        match = "labels/**"
        [for.limits]
        "other/wide" = "<= 80 mm"
        """,
    )
    registry = registry_of(height, tall, odd, wide)
    config = read_config(settings)
    found = Requirements(registry, config)
    assert found.general.requirements["other/wide"].limit == (1, 200)
    assert found.for_file(folder / "a.stl").requirements["other/wide"].limit == (1, 200)
    assert found.for_file(folder / "labels/a.stl").requirements["other/wide"].limit == (1, 80)
    given = replace(config, given_limits=("other/wide<=50",))
    found = Requirements(registry, given)
    for name in ("a.stl", "labels/a.stl"):
        assert found.for_file(folder / name).requirements["other/wide"].limit == (1, 50)


def test_overrides_tell_where_they_come_from(folder: Path) -> None:
    one = ForFiles("labels/*", limits=("house/tall=5",), base=folder)
    found = requirements(
        folder, limits=("house/tall=7",), given_limits=("other/wide<=8",), for_files=(one,)
    )
    assert [(o.rule, o.origin) for o in found.general.overrides] == [
        ("house/tall", "lint3d.toml"), ("other/wide", "--limit"),
    ]  # fmt: skip
    overrides = found.for_file(folder / "labels/a.stl").overrides
    assert ("house/tall", "[[for]] match = 'labels/*'") in [(o.rule, o.origin) for o in overrides]


def test_later_for_tables_win(folder: Path) -> None:
    found = requirements(
        folder,
        for_files=(
            ForFiles("**", limits=("house/tall=5",), without=("other",), base=folder),
            ForFiles("b*", limits=("house/tall=6",), without=("house/odd",), base=folder),
        ),
    )
    assert found.for_file(folder / "a.stl").requirements["house/tall"].limit == 5
    both = found.for_file(folder / "b.stl")
    assert both.requirements.keys() == {"house/tall"}
    assert both.requirements["house/tall"].limit == 6


def test_a_sheet_for_some_files_is_beside_the_settings(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also when --process names a sheet from the current folder."""
    write(folder / "settings" / "label.toml", sheet_text({"house/odd": RULES["house/odd"]}))
    path = write(
        folder / "settings" / "lint3d.toml", '[[for]]\nmatch = "**"\nprocess = "label.toml"\n'
    )
    monkeypatch.chdir(folder)
    config = replace(read_config(path), process="own.toml", base=Path())
    found = Requirements(registry_of(height, tall, odd, wide), config)
    assert found.sheet.name == "own"
    assert found.for_file(folder / "settings" / "a.stl").sheet.name == "label"


@pytest.mark.parametrize("key", ["only", "without"])
def test_a_selection_for_some_files_must_exist(folder: Path, key: str) -> None:
    one = ForFiles("labels/*", base=folder, **{key: ("hose",)})  # type: ignore[arg-type]
    with pytest.raises(
        ConfigurationError, match=rf"\[\[for\]\] match = 'labels/\*': {key} hose: .*'house'"
    ):
        requirements(folder, for_files=(one,))


def test_a_limit_for_some_files_is_refused_before_any_file_matches(folder: Path) -> None:
    one = ForFiles("labels/*", limits=("house/tal=3",), base=folder)
    with pytest.raises(ConfigurationError, match="did you mean 'house/tall'"):
        requirements(folder, for_files=(one,))


def test_a_limit_on_a_rule_that_was_not_selected_is_no_error(folder: Path) -> None:
    found = requirements(folder, only=("house",), limits=("other/wide<=5",), given_limits=(
        "other/wide<=6",
    ))  # fmt: skip
    assert "other/wide" not in found.general.requirements


def test_a_limit_given_for_a_rule_that_the_sheet_turns_off_is_an_error(folder: Path) -> None:
    write(
        folder / "child.toml", '[sheet]\nextends = "own.toml"\n[rules."house/tall"]\noff = true\n'
    )
    with pytest.raises(
        ConfigurationError, match="--limit house/tall=3: no rule 'house/tall' is on"
    ):
        requirements(folder, process="child.toml", given_limits=("house/tall=3",))


@pytest.mark.parametrize(
    ("entry", "message"),
    [
        ({"house/tall": 'at_most = 9\nunit = "mm2"'}, "gives 'house/tall' in 'mm2', but it m"),
        ({"house/x": 'measure = "height"\nat_most = 9\nunit = "1"'}, "gives 'house/x' in '1'"),
        ({"house/x": 'measure = "hight"\nat_most = 9\nunit = "mm"'},
         r"bad\.toml, line \d+: there is no measure 'hight' .did you mean 'height'"),
        ({"house/tal": 'at_most = 9\nunit = "mm"'},
         r"bad\.toml, line \d+: there is no rule 'house/tal' .did you mean 'house/tall'"),
        ({"house/tall": 'measure = "height"\nat_most = 9\nunit = "mm"'},
         "'house/tall' is a rule of the plugin 'house'"),
        ({"height": 'measure = "height"\nat_most = 9\nunit = "mm"'},
         "'height' is no rule id; write family/slug"),
        ({"House/Tall one": 'measure = "height"\nat_most = 9\nunit = "mm"'}, "is no rule id"),
    ],
)  # fmt: skip
def test_a_wrong_entry_is_refused(folder: Path, entry: dict[str, str], message: str) -> None:
    write(folder / "bad.toml", sheet_text({**RULES, **entry}))
    with pytest.raises(ConfigurationError, match=message):
        requirements(folder, process="bad.toml")


def test_a_rule_on_no_sheet_names_its_plugin(folder: Path) -> None:
    write(folder / "bare.toml", sheet_text({"house/tall": RULES["house/tall"]}))
    with pytest.raises(
        PluginError,
        match=r"the plugin 'house' brings the rule 'house/odd', but no "
        r'sheet says what it requires\. Add \[rules\."house/odd"\]',
    ):
        requirements(folder, process="bare.toml")


def test_rules_with_no_code(folder: Path) -> None:
    write(
        folder / "own.toml",
        sheet_text({**RULES, "house/short": 'measure = "height"\nat_least = 2\nunit = "mm"\n'
                    'title = "Too short"\nremedy = "Stretch it."'}),
    )  # fmt: skip
    found = requirements(folder)
    short = found.rules["house/short"]
    assert isinstance(short, SheetRule)
    assert (short.title, short.remedy, short.unit) == ("Too short", "Stretch it.", "mm")
    assert found.general.requirements["house/short"].text() == "at least 2 mm"
    assert found.scopes["house/short"] == "body"


def test_measures_and_rules_are_given_the_limits_in_force(folder: Path) -> None:
    """Also of a rule that is not selected: another one may look at its limit."""
    found = requirements(folder, without=("other",), given_limits=("house/tall=7",)).general
    assert found.sheet.requirement("house/tall") != found.requirements["house/tall"]
    assert found.in_force is not None
    assert found.in_force.requirement("house/tall") == found.requirements["house/tall"]
    assert found.in_force.is_on("house/tall")
    assert not found.in_force.is_on("other/wide")
    assert found.in_force.digest != found.sheet.digest
    aside = requirements(folder, without=("other",), given_limits=("other/wide<=50",)).general
    assert aside.in_force is not None
    limited = aside.in_force.requirement("other/wide")
    assert limited is not None
    assert limited.high == 50
    assert not aside.overrides
    child = '[sheet]\nextends = "own.toml"\n[rules."house/tall"]\noff = true\n'
    write(folder / "child.toml", child)
    off = requirements(folder, process="child.toml").general.in_force
    assert off is not None
    assert not off.is_on("house/tall")
