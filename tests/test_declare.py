"""Declared measures and rules: callable, documented, with named needs."""

from __future__ import annotations

from typing import Any

import pytest

from lint3d import Body, Interest, Place, PluginError, measure, rule
from lint3d.declare import Measure, Rule


@measure(unit="mm")
def width(body: Body, interest: Interest, claims: list[int] | None = None) -> float:
    """How wide is it,
    at its widest?

    More about it.
    """
    return 3.0


@rule("house/wide-part", measures="mm")
def wide_part(width: float):  # type: ignore[no-untyped-def]  # as in a plain house plugin
    """Wider than the tray.

    It does not fit.

    It never will.

    Remedy: turn it,
    or split it.

    References: none.
    """
    yield Place(width)


def test_what_is_declared_stays_callable() -> None:
    assert isinstance(width, Measure)
    assert isinstance(wide_part, Rule)
    assert width(None, None) == 3.0
    assert [place.value for place in wide_part(2.5)] == [2.5]
    assert [place.value for place in wide_part(width=2.5)] == [2.5]
    assert wide_part.__name__ == "wide_part"


def test_facts_come_from_the_declaration() -> None:
    assert (width.name, width.unit, width.title) == (
        "width", "mm", "How wide is it, at its widest?",
    )  # fmt: skip
    assert (wide_part.id, wide_part.family, wide_part.unit) == ("house/wide-part", "house", "mm")
    assert wide_part.title == "Wider than the tray."
    assert wide_part.remedy == "turn it, or split it."
    assert wide_part.explanation.startswith("It does not fit.\n\nIt never will.")
    assert "Remedy" not in wide_part.explanation
    assert width.where.endswith(".width")


def test_needs_are_the_parameters() -> None:
    assert [(n.name, n.optional, n.annotation) for n in width.needs] == [
        ("body", False, Body), ("interest", False, Interest), ("claims", True, list[int]),
    ]  # fmt: skip
    assert width.returns is float


def test_defaults_and_keywords_are_known() -> None:
    @rule("house/x", measures="1")
    def one(body: Body, *, shells=7, spans: Any | None) -> None:  # type: ignore[no-untyped-def]
        """X."""

    body, shells, spans = one.needs
    assert not body.keyword
    assert (shells.keyword, shells.optional, shells.default) == (True, True, 7)
    assert (spans.keyword, spans.optional, spans.default) == (True, True, None)


def test_title_and_remedy_on_one_line() -> None:
    @rule("house/heavy", measures="mm3")
    def heavy(volume: float) -> None:
        "More than our tray carries. Remedy: hollow the part."

    assert (heavy.title, heavy.remedy, heavy.explanation) == (
        "More than our tray carries.", "hollow the part.", "",
    )  # fmt: skip


def test_no_docstring_is_no_crash() -> None:
    @rule("house/bare", measures="1")
    def bare(body: Body) -> None:
        pass

    assert (bare.title, bare.remedy, bare.explanation) == ("", "", "")


@pytest.mark.parametrize(
    "rule_id",
    ["tall", "house/", "/tall", "House/tall", "house/Tall", "house/too tall", "house/tall/very",
     "house/tall_part", "house/-tall", "1house/tall", "house/tall-", "häuser/tall", ""],
)  # fmt: skip
def test_a_wrong_rule_id_is_refused(rule_id: str) -> None:
    with pytest.raises(PluginError, match=r"is no rule id; write family/slug"):
        rule(rule_id, measures="1")(lambda body: None)


@pytest.mark.parametrize("name", ["body", "sheet", "interest", "two words", "a-b", "1st"])
def test_a_wrong_measure_name_is_refused(name: str) -> None:
    with pytest.raises(PluginError, match="cannot be the name of a measure"):
        measure(unit="mm", name=name)(lambda body: None)


def test_a_measure_may_be_named() -> None:
    assert measure(unit="mm", name="depth")(lambda body: None).name == "depth"


def test_star_parameters_are_refused() -> None:
    @rule("house/star", measures="1")
    def star(*spans: Any) -> None:
        """Star."""

    with pytest.raises(PluginError, match=r"\*spans is not possible; name each measure"):
        _ = star.needs


def test_an_annotation_that_cannot_be_evaluated_is_told() -> None:
    @rule("house/late", measures="1")
    def late(body: NoSuchType) -> None:  # type: ignore[name-defined]  # noqa: F821
        """Late."""

    with pytest.raises(PluginError, match=r"an annotation cannot be evaluated .*NoSuchType"):
        _ = late.needs
