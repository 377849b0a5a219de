"""Each clause of the contract is broken once, and each time the breach is named."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner
from house import write

from lint3d.cli import main
from lint3d.contract import contract_breaches
from lint3d.errors import Lint3dError

PLUGIN = '''
    """House rules."""
    import random
    from lint3d import Body, Place, hookimpl, measure, rule

    @measure(unit="mm")
    def house_size(body: Body) -> float:
        """How large is the body?"""
        return {value}

    @rule("house/size", measures="mm")
    def size(house_size: float):
        """Too large for our tray. Remedy: split it."""
        yield Place.measured(house_size, {uncertainty})

    @hookimpl
    def lint3d_measures():
        return [house_size]

    @hookimpl
    def lint3d_rules():
        return [size]
'''
SHEET = """
    [sheet]
    title = "Ours"
    [rules."house/size"]
    at_most = 1000.0
    unit = "mm"
    source = "our tray"
"""
DIAGONAL = "float(((body.vertices.max(axis=0) - body.vertices.min(axis=0)) ** 2).sum() ** 0.5)"
AREA = "float(body.mesh.area)"


def breaches(
    folder: Path, value: str, uncertainty: str = "1e-3", sheet: str = SHEET, plugin: str = PLUGIN
) -> list[str]:
    path = write(folder / "house_rules.py", plugin.format(value=value, uncertainty=uncertainty))
    return contract_breaches(str(path), sheet=write(folder / "ours.toml", sheet))


@pytest.mark.further
def test_a_sound_plugin_keeps_it(tmp_path: Path) -> None:
    assert breaches(tmp_path, AREA, "1.0") == []


@pytest.mark.slow
@pytest.mark.parametrize("plugin", ["solid", "walls", "assembly", "drain"])
def test_built_ins_keep_it(plugin: str) -> None:
    assert contract_breaches(plugin) == []


@pytest.mark.further
def test_a_value_left_to_chance_and_words_that_are_missing(tmp_path: Path) -> None:
    silent = PLUGIN.replace('"""House rules."""', "").replace("Remedy: split it.", "")
    found = breaches(tmp_path, "random.random()", "1e6", plugin=silent)
    (chance,) = [text for text in found if "left to chance" in text]
    assert "with one worker and with two" in chance
    assert any("no remedy" in text for text in found)
    assert any("no docstring" in text for text in found)
    assert len(found) == 3


@pytest.mark.further
def test_a_rule_that_crashes_on_a_broken_part(tmp_path: Path) -> None:
    found = breaches(tmp_path, "float(1.0 / body.closed)", "1e9")
    assert any("broken part (hole)" in text and "ZeroDivisionError" in text for text in found)


def test_a_rule_that_ends_its_process(tmp_path: Path) -> None:
    found = breaches(tmp_path, "1.0 if len(body.faces) > 1 else __import__('os').abort()", "1e9")
    assert any("broken part (one-facet)" in text and "house_size" in text for text in found)


def test_a_rule_on_no_sheet(tmp_path: Path) -> None:
    (text,) = breaches(tmp_path, AREA, sheet='[sheet]\ntitle = "Ours"\n')
    assert "house/size is on no sheet" in text


def test_a_plugin_that_cannot_be_loaded(tmp_path: Path) -> None:
    with pytest.raises(Lint3dError, match="no plugin file"):
        contract_breaches(str(tmp_path / "none.py"))
    broken = write(tmp_path / "broken_rules.py", "import nothing_of_that_name")
    with pytest.raises(Lint3dError, match="nothing_of_that_name"):
        contract_breaches(str(broken))


@pytest.mark.further
def test_the_command_tells_of_a_value_that_depends_on_the_frame(tmp_path: Path) -> None:
    plugin = write(tmp_path / "house_rules.py", PLUGIN.format(value=DIAGONAL, uncertainty="1e-3"))
    sheet = write(tmp_path / "ours.toml", SHEET)
    command = ["check-plugin", str(plugin), "--process", str(sheet)]
    answer = CliRunner().invoke(main, command)
    assert answer.exit_code == 1
    assert "breaks the contract" in answer.output
    said = [line for line in answer.output.splitlines() if "house/size" in line]
    assert said
    assert all("says something else of a" in line for line in said)
    answer = CliRunner().invoke(main, [*command, "--frame-dependent", "house/size"])
    assert answer.exit_code == 0, answer.output
    assert "keeps the contract" in answer.output
