"""Every kind of result has a mark of its own, known without its colour."""

from lint3d.report.marks import MARKS, rgb
from lint3d.report.wording import MEANINGS


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    linear = [
        (x / 255 / 12.92) if x <= 10 else ((x / 255 + 0.055) / 1.055) ** 2.4 for x in rgb(colour)
    ]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, two: str) -> float:
    high, low = sorted((luminance(one), luminance(two)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def test_every_kind_has_a_mark_that_no_other_has() -> None:
    assert MARKS.keys() == MEANINGS.keys() | {"conceded"}
    assert len({(mark.shape, mark.sign) for mark in MARKS.values()}) == len(MARKS)
    assert len({mark.word for mark in MARKS.values()}) == len(MARKS)


def test_words_in_their_colours_can_be_read() -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1; on the grounds of the page.
    for mark in MARKS.values():
        assert contrast(mark.colour, "#ffffff") >= 4.5
        assert contrast(mark.colour, "#e2eef1") >= 4.3
        assert contrast(mark.colour_on_dark, "#151b20") >= 4.5
