"""By which shape, word and colour is a verdict known in pictures and on the page?

Shape and word come first, so that nobody needs the colour. The colours keep apart in the usual
kinds of colour blindness: vermilion, ochre, violet, teal and slate differ in lightness as well.
"""

from __future__ import annotations

from dataclasses import dataclass

from lint3d.inspection import Result


@dataclass(frozen=True)
class Mark:
    """How one kind of result is shown."""

    word: str
    shape: str
    """"disc", "triangle", "ring", "square" or "diamond": what the sign stands on"""
    sign: str
    """the sign itself: "cross", "question", "dash", "tick", "wave", "i" or "dot\""""
    colour: str
    """#rrggbb, on a light ground"""
    colour_on_dark: str


MARKS: dict[str, Mark] = {
    "fail": Mark("FAIL", "disc", "cross", "#b93a14", "#ff8a5c"),
    "open": Mark("OPEN", "ring", "dash", "#6a4c9c", "#bfa3f2"),
    "review": Mark("REVIEW", "triangle", "question", "#8f6200", "#f0bd4f"),
    "conceded": Mark("conceded", "diamond", "wave", "#5f6415", "#c9cf6d"),
    "informational": Mark("info", "square", "i", "#4a6072", "#a9bccb"),
    "pass": Mark("pass", "disc", "tick", "#11697a", "#63c7d8"),
    "notApplicable": Mark("not applicable", "ring", "dot", "#55606a", "#98a3ad"),
}


def kind_shown(result: Result) -> str:
    """Under which mark a result stands: its kind, or "conceded" where its failure is accepted."""
    return "conceded" if result.conceded else result.kind


def mark_of(result: Result) -> Mark:
    """The mark of a result's verdict."""
    return MARKS[kind_shown(result)]


def rgb(colour: str) -> tuple[int, int, int]:
    """
    >>> rgb("#b93a14")
    (185, 58, 20)
    """
    return (int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16))
