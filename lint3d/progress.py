"""What is it doing, and how long will it take? For work that takes over a second.

One line on standard error: a bar, the file, the measure and the remaining time. Shown only on a
terminal; nothing is written to a log or a pipe. The remaining time goes by the share that is done:
each job counts by the size of its files, and within a job all steps alike, for how long a measure
takes is not known before. It is left out until a twentieth is done.
"""

from __future__ import annotations

import os
import shutil
import time
from typing import TextIO
from urllib.parse import unquote

PATIENCE_SECONDS = 1.0
BAR_WIDTH = 12
SURE_SHARE = 0.05


class Progress:
    """One line that is written over. Use as a context manager."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.shown = stream.isatty() and os.environ.get("TERM") != "dumb"
        self.begun = time.monotonic()
        self.last = 0.0
        self.dirty = False
        self.weights: list[float] = []
        self.shares: dict[int, float] = {}

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *error: object) -> None:
        if self.dirty:
            self.stream.write("\r" + " " * (self._width() - 1) + "\r")
            self.stream.flush()

    def expect(self, sizes: list[int]) -> None:
        """How large each job is, in bytes."""
        self.weights = [float(size) + 1.0 for size in sizes]

    def advance(self, job: int, share: float) -> None:
        """So much of a job is done, 0 to 1. A job that begins anew does not go back."""
        self.shares[job] = max(share, self.shares.get(job, 0.0))

    def step(self, uri: str, step: str, body: str) -> None:
        """Called before each step of an inspection."""
        now = time.monotonic()
        if not self.shown or now - self.begun < PATIENCE_SECONDS or now - self.last < 0.1:
            return
        self.last, self.dirty = now, True
        width = self._width() - 1
        text = f"{unquote(uri)}: {step}" + (f" ({body})" if body else "")
        plain = "".join(c if c.isprintable() else "?" for c in text)
        left = self._remaining(now)
        room = width - len(left) - BAR_WIDTH - 2
        if self.weights and room >= 20:
            plain = f"{self._bar()} {plain[:room].ljust(room)} {left}"
        self.stream.write("\r" + plain[:width].ljust(width))
        self.stream.flush()

    def _share(self) -> float:
        done = sum(self.weights[job] * share for job, share in self.shares.items())
        return done / sum(self.weights)

    def _bar(self) -> str:
        inner = BAR_WIDTH - 2
        filled = min(int(self._share() * inner), inner)
        return "[" + "#" * filled + "." * (inner - filled) + "]"

    def _remaining(self, now: float) -> str:
        share = self._share() if self.weights else 0.0
        if share < SURE_SHARE:
            return ""
        seconds = (now - self.begun) * (1.0 - share) / share
        return f"about {_told(seconds)} left"

    @staticmethod
    def _width() -> int:
        return shutil.get_terminal_size((80, 24)).columns


def _told(seconds: float) -> str:
    """A time in the unit that a person would use.

    Examples
    --------
    >>> _told(3.2), _told(75), _told(4000)
    ('4 s', '2 min', '1.1 h')
    """
    if seconds < 60:
        return f"{int(seconds) + 1} s"
    if seconds < 3600:
        return f"{int(seconds / 60) + 1} min"
    return f"{seconds / 3600:.1f} h"
