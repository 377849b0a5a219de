"""Lists and explanations: every rule can be explained, at 80 columns."""

from __future__ import annotations

from pathlib import Path

import pytest
from house import PLUGINS, write

from lint3d import Lint3dError
from lint3d.api import Prepared, prepare
from lint3d.config import Config
from lint3d.listing import explained, listed


@pytest.fixture(scope="module")
def prepared() -> Prepared:
    return prepare(Config(process="every-hook-tray", plugins=(str(PLUGINS / "every_hook.py"),)))


@pytest.mark.parametrize("what", ["rules", "measures", "sheets", "plugins", "readers"])
def test_lists_are_sorted_and_fit(prepared: Prepared, what: str) -> None:
    lines = listed(prepared, what).splitlines()
    assert lines
    assert max(map(len, lines)) <= 100
    first = [line.split()[0] for line in lines if not line.startswith(" ")]
    assert first == sorted(first)


def test_every_rule_is_explained(prepared: Prepared) -> None:
    for rule_id, rule in prepared.requirements.rules.items():
        text = explained(prepared, rule_id)
        words = " ".join(text.split())
        assert text.splitlines()[0] == rule_id
        assert rule.title in words
        assert f"Remedy: {rule.remedy}" in words
        requirement = prepared.requirements.general.requirements.get(rule_id)
        if requirement is None:  # off by default: the sheet says why
            assert "Off: turned off by the sheet" in words
            assert "Why: " in words
        else:
            assert requirement.text() in words
            assert "Source: " in words
        assert max(map(len, text.splitlines())) <= 80


def test_a_rule_with_no_code_is_explained(tmp_path: Path) -> None:
    sheet = write(
        tmp_path / "own.toml",
        """
        [sheet]
        extends = "mjt-meltable"
        [rules."house/tall-part"]
        measure = "height"
        at_most = 90
        unit = "mm"
        source = "our oven's shelf"
        title = "Taller than our oven shelf"
        remedy = "Lay the part down or split it."
        """,
    )
    text = " ".join(explained(prepare(Config(process=str(sheet))), "house/tall-part").split())
    for piece in (
        "Taller than our oven shelf",
        "at most 90 mm",
        "our oven's shelf",
        "Lay the part",
    ):
        assert piece in text


def test_an_unknown_rule_is_told_with_the_nearest(prepared: Prepared) -> None:
    with pytest.raises(Lint3dError, match=r"no rule 'size/unit-doubt' .did you mean 'size/units-d"):
        explained(prepared, "size/unit-doubt")


def test_a_family_is_explained_by_its_rules(prepared: Prepared) -> None:
    text = explained(prepared, "walls")
    own = [rule for rule in prepared.requirements.rules if rule.startswith("walls/")]
    assert own
    assert all(rule in text.splitlines() for rule in own)
    assert "drain/" not in text
    assert max(map(len, text.splitlines())) <= 80


@pytest.mark.parametrize("word", ["REVIEW", "review", "open", "n/a"])
def test_a_verdict_is_explained(prepared: Prepared, word: str) -> None:
    text = explained(prepared, word)
    assert text.splitlines()[0] == word.upper()
    assert len(text) > 60
