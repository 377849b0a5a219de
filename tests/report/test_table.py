"""A table is never wider than its page."""

from hypothesis import given
from hypothesis import strategies as st

from lint3d.report.cells import columns
from lint3d.report.table import Column, layout

WHOLE = (Column("name", 10, 5, 1), Column("size", 8, 5, 0, is_whole=True))
TABLE = (Column("name", 10, 5, 1), Column("size", 8, 5, 0), Column("remark", 12, 6, 2))
ROWS = st.lists(st.tuples(st.text(), st.text(), st.text()), max_size=5)


@given(ROWS, st.integers(22, 90))
def test_rows_fit(rows: list[tuple[str, str, str]], width: int) -> None:
    made = layout(TABLE, rows, width, indent=2)
    for row in rows:
        assert all(columns(line) <= width for line in made.row(row))


@given(ROWS, st.integers(22, 90))
def test_rows_with_whole_names_fit(rows: list[tuple[str, str, str]], width: int) -> None:
    table = (*WHOLE, TABLE[2])
    made = layout(table, rows, width, indent=2)
    for row in rows:
        assert all(columns(line) <= width for line in made.row(row))


def test_columns_stand_below_each_other() -> None:
    rows = [("bracket", "12", "thin"), ("lid", "1200", "")]
    made = layout(TABLE, rows, 80)
    assert made.row(rows[0]) == ["bracket  12    thin"]
    assert made.row(rows[1]) == ["lid      1200"]
    assert made.second == 9


def test_the_column_that_can_spare_most_gives_way_first() -> None:
    row = ("n" * 10, "s" * 8, "remark " * 4)
    made = layout(TABLE, [row], 36)
    assert made.widths == (10, 8, 16)
    assert made.row(row) == [f"{'n' * 10} {'s' * 8} remark remark", f"{' ' * 20}remark remark"]


def test_a_name_that_stays_whole_takes_a_line_with_what_stands_before_it() -> None:
    table = (TABLE[0], Column("rule", 8, 7, 3, is_whole=True), TABLE[2])
    rows = [("n" * 10, "walls/thin", "remark remark"), ("n", "a/b", "remark")]
    made = layout(table, rows, 33)
    assert made.widths[1] == 8
    assert made.row(rows[0]) == [f"{'n' * 10} walls/thin", f"{' ' * 20}remark remark"]
    assert made.row(rows[1]) == [f"n{' ' * 10}a/b{' ' * 6}remark"]
    assert made.row(("n", "w" * 22, "")) == [f"n{' ' * 10}{'w' * 22}"]
    # What no line holds is broken after all.
    assert made.row(("n", "w" * 23, ""))[0] == f"n{' ' * 10}{'w' * 8}"


def test_paint_is_given_padded_cells_and_changes_no_width() -> None:
    made = layout(TABLE, [("a", "b", "c")], 80)
    painted = made.row(("a", "b", "c"), lambda number, text: f"<{text}>" if number == 0 else text)
    assert painted == ["<a   >  b     c"]
