"""The terminal's table as a file."""

import inspections

from lint3d.report import Writer
from lint3d.report.console import render
from lint3d.report.text import TextWriter


def test_it_is_the_table_at_a_hundred_columns() -> None:
    writer = TextWriter()
    assert isinstance(writer, Writer)
    assert writer.suffixes == (".txt",)
    text = writer.write(inspections.varied()).decode("utf-8")
    assert text == render(inspections.varied(), width=100)
    assert text.endswith("\n")
    assert "\x1b" not in text
