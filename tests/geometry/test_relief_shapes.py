"""Guards lint3d/geometry/relief_shapes.py: which outlines are alike?"""

import numpy as np
import pytest
from shapes_relief import centred, font_text, lettered, on_slab

from lint3d.geometry.reliefs import Found, find_reliefs
from lint3d.geometry.topology import edge_table


def _found(vertices: np.ndarray, faces: np.ndarray) -> Found:
    return find_reliefs(vertices, faces, edge_table(faces, len(vertices)), 1e-6)


@pytest.mark.parametrize("text", ["BER", "325 m", "8069"])
@pytest.mark.parametrize("font", ["DejaVu Sans", "DejaVu Serif", "DejaVu Sans Mono"])
def test_letters_of_like_area_and_size_are_unlike(text: str, font: str) -> None:
    """With serifs B, E and R agree within 4 % in area, perimeter and radii of gyration."""
    case = lettered(text, 0.8, 10.0, font=font)
    (line,) = _found(case.vertices, case.faces).inscriptions
    assert line.characters == case.characters


def test_turned_copies_of_one_outline_are_alike() -> None:
    hook = centred(font_text("R", 10.0, "DejaVu Serif"))
    row = hook
    for place, turn in enumerate((40.0, 160.0, 250.0, 300.0)):
        row = row + hook.rotate(turn).translate((14.0 * (place + 1), 0))
    case = on_slab(row, 0.8)
    found = _found(case.vertices, case.faces)
    assert not found.inscriptions
    assert len(found.marks) == 5
