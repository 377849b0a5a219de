"""How is a table laid out so that it is never wider than the page?

Cells are wrapped inside their column; the columns that can best spare it give way first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from lint3d.report.cells import columns, padded, wrapped


@dataclass(frozen=True)
class Column:
    """A column: its heading, and how far it gives way to the others."""

    heading: str
    comfortable: int
    """Wide enough for what mostly stands in it; every column is narrowed to this first."""
    narrowest: int
    gives_way: int = 0
    """Columns with a higher number are narrowed first."""
    is_whole: bool = False
    """A word that is too wide for it is not broken: what follows stands on the next line."""


@dataclass(frozen=True)
class Layout:
    """Widths that columns were given."""

    widths: tuple[int, ...]
    gap: int
    indent: int
    page: int
    """Columns of the terminal that a row may take"""
    whole: frozenset[int] = frozenset()
    """Numbers of the columns in which no word is broken that a line can hold"""

    @property
    def second(self) -> int:
        """Where the second column begins: the indent of text below a row."""
        return self.indent + self.widths[0] + self.gap

    def row(
        self, cells: Sequence[str], paint: Callable[[int, str], str] | None = None
    ) -> list[str]:
        """The lines of one row.

        Parameters
        ----------
        paint : called with the number of the column and the padded text of each cell
        """
        paint = paint or (lambda _, text: text)
        for number in self.whole:
            if self._stands_out(number, cells[number]):
                widths = (*self.widths[:number], columns(cells[number]))
                first = replace(self, widths=widths, whole=frozenset())
                after = [*[""] * (number + 1), *cells[number + 1 :]]
                rest = self._lines(after, paint) if any(after) else []
                return first.row(cells[: number + 1], paint) + rest
        return self._lines(cells, paint)

    def _stands_out(self, number: int, cell: str) -> bool:
        """Is it a word wider than its column that still fits on the page?"""
        begin = self.indent + sum(self.widths[:number]) + self.gap * number
        is_word = len(cell.split()) == 1 and cell == cell.strip()
        return is_word and self.widths[number] < columns(cell) <= self.page - begin

    def _lines(self, cells: Sequence[str], paint: Callable[[int, str], str]) -> list[str]:
        stacks = [wrapped(cell, width) for cell, width in zip(cells, self.widths, strict=True)]
        lines = []
        for depth in range(max(map(len, stacks))):
            pieces = [stack[depth] if depth < len(stack) else "" for stack in stacks]
            last = max((number for number, piece in enumerate(pieces) if piece), default=0)
            shown = [
                paint(number, piece if number == last else padded(piece, self.widths[number]))
                for number, piece in enumerate(pieces[: last + 1])
            ]
            lines.append(" " * self.indent + (" " * self.gap).join(shown))
        return lines


def layout(
    table: Sequence[Column], rows: Iterable[Sequence[str]], width: int, indent: int = 0
) -> Layout:
    """Widths for the columns, so that a row takes at most `width` columns of the terminal."""
    whole = frozenset(number for number, column in enumerate(table) if column.is_whole)
    natural = [columns(column.heading) for column in table]
    for row in rows:
        natural = [max(old, columns(cell)) for old, cell in zip(natural, row, strict=True)]
    for gap in (2, 1):
        free = width - indent - gap * (len(table) - 1)
        if sum(natural) <= free:
            return Layout(tuple(natural), gap, indent, width, whole)
    widths = list(natural)
    order = sorted(range(len(table)), key=lambda number: -table[number].gives_way)
    floors = [column.comfortable for column in table], [column.narrowest for column in table]
    for floor in floors:
        for number in order:
            spare = min(sum(widths) - free, widths[number] - floor[number])
            widths[number] -= max(0, spare)
    return Layout(tuple(widths), gap, indent, width, whole)
