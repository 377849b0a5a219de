"""Progress: on a terminal, after a second, and gone afterwards; nothing in a log or a pipe."""

from __future__ import annotations

import io

import pytest

from lint3d import progress
from lint3d.progress import Progress


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time that progress sees; a test moves it on."""
    now = [100.0]
    monkeypatch.setattr(progress.time, "monotonic", lambda: now[0])
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("COLUMNS", "60")
    return now


def test_nothing_is_shown_within_a_second(clock: list[float]) -> None:
    stream = Terminal()
    with Progress(stream) as shown:
        clock[0] += 0.9
        shown.step("a.stl", "spans", "part-1")
    assert stream.getvalue() == ""


def test_one_line_is_written_over_and_wiped_out(clock: list[float]) -> None:
    stream = Terminal()
    with Progress(stream) as shown:
        clock[0] += 1.5
        shown.step("a%20b.stl", "spans", "part-1")
        clock[0] += 0.05
        shown.step("a%20b.stl", "too soon", "part-1")
        clock[0] += 0.2
        shown.step("a%20b.stl", "reading", "")
    pieces = stream.getvalue().split("\r")
    assert pieces[1].rstrip() == "a b.stl: spans (part-1)"
    assert pieces[2].rstrip() == "a b.stl: reading"
    assert pieces[3].strip() == pieces[4] == ""
    assert "\n" not in stream.getvalue()
    assert {len(piece) for piece in pieces[1:4]} == {59}


def test_a_name_cannot_write_to_the_terminal(clock: list[float]) -> None:
    stream = Terminal()
    with Progress(stream) as shown:
        clock[0] += 2
        shown.step("evil%1B%5B2J%0A.stl", "spans", "x\x1b[31m")
    assert "\x1b" not in stream.getvalue()
    assert "\n" not in stream.getvalue()


def test_nothing_is_written_to_a_pipe_or_a_dumb_terminal(
    clock: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "dumb")
    for stream in (io.StringIO(), Terminal()):
        with Progress(stream) as shown:
            clock[0] += 5
            shown.step("a.stl", "spans", "part-1")
        assert stream.getvalue() == ""


def test_a_bar_and_the_remaining_time(clock: list[float]) -> None:
    stream = Terminal()
    with Progress(stream) as shown:
        shown.expect([2999, 999])
        clock[0] += 10
        shown.step("a.stl", "reading", "")
        shown.advance(0, 0.5)
        shown.advance(0, 0.1)  # begun anew by another worker: does not go back
        shown.advance(1, 0.5)
        clock[0] += 10
        shown.step("a.stl", "spans", "part-1")
    _, first, second, *_ = stream.getvalue().split("\r")
    assert "left" not in first
    assert first.startswith("[..........] a.stl: reading")
    assert second.startswith("[#####.....] a.stl: spans (part-1)")
    assert second.rstrip().endswith("about 21 s left")
    assert {len(first), len(second)} == {59}


def test_a_narrow_terminal_shows_the_step_alone(
    clock: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "30")
    stream = Terminal()
    with Progress(stream) as shown:
        shown.expect([10])
        shown.advance(0, 0.5)
        clock[0] += 10
        shown.step("a.stl", "spans", "part-1")
    assert stream.getvalue().split("\r")[1].rstrip() == "a.stl: spans (part-1)"
