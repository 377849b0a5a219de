"""What is it doing? File and measure on standard error, for work that takes over a second.

Shown only on a terminal; nothing is written to a log or a pipe.
"""

from __future__ import annotations

import os
import shutil
import time
from typing import TextIO
from urllib.parse import unquote

PATIENCE_SECONDS = 1.0


class Progress:
    """One line that is written over. Use as a context manager."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.shown = stream.isatty() and os.environ.get("TERM") != "dumb"
        self.begun = time.monotonic()
        self.last = 0.0
        self.dirty = False

    def __enter__(self) -> Progress:
        return self

    def __exit__(self, *error: object) -> None:
        if self.dirty:
            self.stream.write("\r" + " " * (self._width() - 1) + "\r")
            self.stream.flush()

    def step(self, uri: str, step: str, body: str) -> None:
        """Called before each step of an inspection."""
        now = time.monotonic()
        if not self.shown or now - self.begun < PATIENCE_SECONDS or now - self.last < 0.1:
            return
        self.last, self.dirty = now, True
        width = self._width() - 1
        text = f"{unquote(uri)}: {step}" + (f" ({body})" if body else "")
        plain = "".join(c if c.isprintable() else "?" for c in text)
        self.stream.write("\r" + plain[:width].ljust(width))
        self.stream.flush()

    @staticmethod
    def _width() -> int:
        return shutil.get_terminal_size((80, 24)).columns
