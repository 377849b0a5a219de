"""How do sentences become lines of a terminal?

Collects the lines of a report, wrapped to its width. Colours are the eight of ECMA-48 (SGR),
written only if asked for.
"""

from __future__ import annotations

from lint3d.report.cells import columns, safe, wrapped

#: SGR parameters, ECMA-48 section 8.3.117 (from memory).
_STYLES = {
    "fail": "1;31",
    "open": "1;35",
    "review": "1;33",
    "informational": "36",
    "pass": "32",
    "notApplicable": "2",
    "heading": "1",
    "quiet": "2",
}


class Lines:
    """The lines of a report, none wider than `width` columns."""

    def __init__(self, width: int, colour: bool) -> None:
        self.width = width
        self._colour = colour
        self._lines: list[str] = []

    def paint(self, text: str, style: str | None) -> str:
        """The text in a colour, if colours were asked for."""
        if not self._colour or style is None or not text:
            return text
        return f"\x1b[{_STYLES[style]}m{text}\x1b[0m"

    def say(self, text: str, indent: int = 0, lead: str = "", style: str | None = None) -> None:
        """A paragraph; lines after the first hang below the end of `lead`."""
        before = " " * indent + safe(lead)
        room = self.width - columns(before)
        for line in wrapped(safe(" ".join(text.split())), room):
            self._lines.append(before + self.paint(line, style))
            before = " " * columns(before)

    def rule(self, title: str) -> None:
        """A title between lines across the page."""
        shown = safe(title)
        room = self.width - columns(shown) - 4
        if room < 1:
            self.say(title, style="heading")
        else:
            self._lines.append(self.paint(f"== {shown} {'=' * room}", "heading"))

    def add(self, lines: list[str]) -> None:
        """Lines that are laid out already."""
        self._lines.extend(lines)

    def blank(self) -> None:
        """An empty line, but never two and none at the top."""
        if self._lines and self._lines[-1]:
            self._lines.append("")

    def text(self) -> str:
        """All lines, without spaces at their ends."""
        return "".join(f"{line.rstrip()}\n" for line in self._lines)
