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
    folder: Path, value: str, uncertainty: str = "1e-3", sheet: str = SHEET, **more: object
) -> list[str]:
    plugin = write(folder / "house_rules.py", PLUGIN.format(value=value, uncertainty=uncertainty))
    chosen = write(folder / "ours.toml", sheet)
    return contract_breaches(str(plugin), sheet=chosen, **more)  # type: ignore[arg-type]


def test_a_sound_plugin_keeps_it(tmp_path: Path) -> None:
    assert breaches(tmp_path, AREA, "1.0") == []


@pytest.mark.slow
@pytest.mark.parametrize("plugin", ["solid", "walls", "assembly", "drain"])
def test_built_ins_keep_it(plugin: str) -> None:
    assert contract_breaches(plugin) == []


def test_a_value_that_depends_on_the_frame(tmp_path: Path) -> None:
    found = breaches(tmp_path, DIAGONAL)
    assert found
    assert all("turned in space" in text for text in found)
    assert breaches(tmp_path, DIAGONAL, frame_dependent=["house/size"]) == []


def test_a_value_left_to_chance(tmp_path: Path) -> None:
    found = breaches(tmp_path, "random.random()", "1e6")
    assert any("left to chance" in text for text in found)


def test_a_rule_that_crashes_on_a_broken_part(tmp_path: Path) -> None:
    found = breaches(tmp_path, "float(1.0 / body.closed)", "1e9")
    assert any("broken part (hole)" in text and "ZeroDivisionError" in text for text in found)


def test_a_rule_that_ends_its_process(tmp_path: Path) -> None:
    found = breaches(tmp_path, "1.0 if body.closed else __import__('os').abort()", "1e9")
    assert any("broken part" in text and "house_size" in text for text in found)


def test_a_rule_on_no_sheet(tmp_path: Path) -> None:
    (text,) = breaches(tmp_path, AREA, sheet='[sheet]\ntitle = "Ours"\n')
    assert "house/size is on no sheet" in text


def test_words_that_are_missing(tmp_path: Path) -> None:
    silent = PLUGIN.replace('"""House rules."""', "").replace("Remedy: split it.", "")
    plugin = write(tmp_path / "house_rules.py", silent.format(value=AREA, uncertainty="1.0"))
    found = contract_breaches(str(plugin), sheet=write(tmp_path / "ours.toml", SHEET))
    assert any("no remedy" in text for text in found)
    assert any("no docstring" in text for text in found)


def test_a_plugin_that_cannot_be_loaded(tmp_path: Path) -> None:
    with pytest.raises(Lint3dError, match="no plugin file"):
        contract_breaches(str(tmp_path / "none.py"))
    broken = write(tmp_path / "broken_rules.py", "import nothing_of_that_name")
    with pytest.raises(Lint3dError, match="nothing_of_that_name"):
        contract_breaches(str(broken))


def test_the_command(tmp_path: Path) -> None:
    plugin = write(tmp_path / "house_rules.py", PLUGIN.format(value=DIAGONAL, uncertainty="1e-3"))
    sheet = write(tmp_path / "ours.toml", SHEET)
    command = ["check-plugin", str(plugin), "--process", str(sheet)]
    answer = CliRunner().invoke(main, command)
    assert answer.exit_code == 1
    assert "breaks the contract" in answer.output
    answer = CliRunner().invoke(main, [*command, "--frame-dependent", "house/size"])
    assert answer.exit_code == 0, answer.output
    assert "keeps the contract" in answer.output
