"""Troublesome: rules, measures and a reader that fail in every way there is.

What a file is called says what happens: only bodies of a file whose name holds the word are hit.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator

import numpy as np

from lint3d import (
    Body,
    Measure,
    NotMeasurable,
    Place,
    Reading,
    ReadLimits,
    Rule,
    Source,
    hookimpl,
    measure,
    rule,
)


def hit(body: Body | Source, word: str) -> bool:
    return word in (body.uri if isinstance(body, Source) else body.source.uri)


@measure(unit="1")
def aborted(body: Body) -> float:
    """Ends the process as an assertion in native code does."""
    if hit(body, "abort"):
        os.abort()
    return 0.0


@measure(unit="1")
def hung(body: Body) -> float:
    """Never comes back."""
    while hit(body, "hang"):
        time.sleep(1)
    return 0.0


@measure(unit="1")
def greedy(body: Body) -> float:
    """Wants all the memory there is."""
    kept = []
    while hit(body, "greedy"):
        kept.append(np.empty(50_000_000))
    return float(len(kept))


@measure(unit="1")
def raised(body: Body) -> float:
    """Raises."""
    if hit(body, "raise"):
        raise ZeroDivisionError("by\nzero")
    return 0.0


@measure(unit="1")
def unmeasured(body: Body) -> float:
    """Cannot be taken."""
    if hit(body, "unmeasured"):
        raise NotMeasurable("It has no inside; solid/open-edge tells more.")
    return 0.0


@rule("trouble/aborted", measures="1")
def over_aborted(aborted: float) -> float:
    """Over a measure that aborts."""
    return aborted


@rule("trouble/hung", measures="1")
def over_hung(hung: float) -> float:
    """Over a measure that hangs."""
    return hung


@rule("trouble/greedy", measures="1")
def over_greedy(greedy: float) -> float:
    """Over a measure that takes all memory."""
    return greedy


@rule("trouble/raised", measures="1")
def over_raised(raised: float) -> float:
    """Over a measure that raises."""
    return raised


@rule("trouble/unmeasured", measures="1")
def over_unmeasured(unmeasured: float) -> float:
    """Over a measure that cannot be taken."""
    return unmeasured


@rule("trouble/segfault", measures="1")
def segfault(body: Body) -> Iterator[Place]:
    """Ends the process as a wild pointer does."""
    if hit(body, "segfault"):
        os.kill(os.getpid(), signal.SIGSEGV)
    yield Place(0)


@rule("trouble/exit", measures="1")
def leave(source: Source) -> float:
    """Calls sys.exit."""
    if hit(source, "exit"):
        raise SystemExit(0)
    return 0.0


@rule("trouble/unsendable", measures="1")
def unsendable(body: Body) -> Place:
    """Puts something into a place that no process can send."""
    if hit(body, "unsendable"):
        return Place(1, properties={"f": lambda: None})
    return Place(0)


@rule("trouble/fine", measures="1")
def fine(body: Body) -> Iterator[Place]:
    """A rule that always works, and finds one thing.

    Remedy: none is needed.
    """
    print("a plugin that prints")
    yield Place(1, faces=[0])


class TroublesomeReader:
    """Files of the suffix .trouble."""

    name = "trouble"
    suffixes = (".trouble",)

    def claims(self, head: bytes, suffix: str, length: int) -> float:
        if head.startswith(b"claims"):
            raise ValueError("what is this?")
        return 1.0 if suffix == ".trouble" else 0.0

    def read(self, data: bytes, limits: ReadLimits) -> Reading:
        if data.startswith(b"abort"):
            os.abort()
        if data.startswith(b"hang"):
            time.sleep(1000)
        if data.startswith(b"nothing"):
            return None  # type: ignore[return-value]
        if data.startswith(b"unit"):
            return Reading("trouble", [], unit="parsec")
        raise RuntimeError("cannot read\nthis")


@hookimpl
def lint3d_readers() -> list[object]:
    return [TroublesomeReader()]


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [aborted, hung, greedy, raised, unmeasured]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [
        over_aborted, over_hung, over_greedy, over_raised, over_unmeasured, segfault, leave,
        unsendable, fine,
    ]  # fmt: skip
