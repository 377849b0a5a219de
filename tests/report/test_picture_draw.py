"""Text, marks and lines land where they are meant to."""

import numpy as np
from PIL import Image

from lint3d.report.marks import MARKS, rgb
from lint3d.report.picture_draw import Sheet, cut_to, font, lines_of, round_length, width_of


def blank(width: int = 200, height: int = 100) -> Sheet:
    return Sheet(Image.new("RGB", (width, height), (255, 255, 255)))


def test_text_is_cut_to_its_room() -> None:
    long = "a very long name of a body " * 9
    for room in (30, 100, 333):
        shown = cut_to(long, room, 15)
        assert shown.endswith("…")
        assert width_of(shown, 15) <= room
    assert cut_to("short", 300, 15) == "short"


def test_text_cannot_control_and_the_letters_of_a_report_are_there() -> None:
    assert cut_to("a\x1b[2J\u202eb", 500, 15) == "a\\x1b[2J\\u202eb"
    missing = bytes(font(20).getmask("\U0010fffd"))
    for letter in "±≥≤×µ³²°–…’ÄéŁžß0123456789":
        assert bytes(font(20).getmask(letter)) != missing, letter


def test_lines_are_broken_at_words() -> None:
    lines = lines_of("thicken the wall, or rib it, or leave it out", 120, 15, 3)
    assert len(lines) == 3
    assert all(width_of(line, 15) <= 120 for line in lines)


def test_a_scale_bar_is_a_round_number() -> None:
    for about in np.geomspace(1e-3, 1e4, 60):
        length = round_length(about)
        assert about / 2.5 < length <= about * 1.00001
        assert f"{length:.0e}"[0] in "125"


def test_a_line_runs_from_end_to_end() -> None:
    sheet = blank()
    sheet.line([(20, 50), (180, 50)], (0, 0, 0), 3)
    dark = np.argwhere(np.asarray(sheet.finished()).sum(axis=2) < 200)
    assert abs(dark[:, 0].mean() - 49.5) <= 1
    assert dark[:, 1].min() in range(17, 22)
    assert dark[:, 1].max() in range(177, 183)


def test_every_verdict_has_a_sign_of_its_own_without_colour() -> None:
    seen = []
    for mark in MARKS.values():
        sheet = blank(40, 40)
        sheet.mark((20, 20), mark, 30)
        grey = np.asarray(sheet.finished().convert("L"))
        assert (np.asarray(sheet.image) == rgb(mark.colour)).all(axis=2).any()
        seen.append((grey < 200).ravel())
    for one in range(len(seen)):
        for two in range(one):
            assert (seen[one] != seen[two]).mean() > 0.02
