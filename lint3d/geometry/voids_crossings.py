"""Which openings between two pieces of free space are known already?

Where a gap runs all round a lid, places that lead from one piece to the other lie all along it, and
following a way through each of them takes long. The border between the pieces tells which of them
are at one and the same opening. Lengths in mm. Guarded by tests/geometry/test_voids_crossings.py.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat
from lint3d.geometry.throats_clearance import Clearance
from lint3d.geometry.voids_border import Openings, border_between
from lint3d.geometry.voids_led import squeezed
from lint3d.geometry.voids_openings import Contact
from lint3d.geometry.voids_reach import CLOSED
from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: What is no wider than this, voxels of its radius, is a crumb in a gap and no piece by itself.
_NO_CRUMB = 1.8


class Crossings:
    """The openings between two pieces of free space, and which of them a way leads through.

    Parameters
    ----------
    clearance : of every facet
    space : free space, cut into chambers
    piece_of : (c,) number of the piece that each chamber is part of; −1 for none
    pieces : the two; of the outside's chambers one is 0
    """

    def __init__(
        self, clearance: Clearance, space: Space, piece_of: Ints, pieces: tuple[int, int]
    ) -> None:
        mine = [np.flatnonzero(piece_of == piece) for piece in pieces]
        self.sides = mine[0], mine[1]
        deep = space.chambers.peak >= _NO_CRUMB
        others = np.flatnonzero((piece_of >= 0) & deep & ~np.isin(piece_of, pieces))
        self.border = border_between(clearance, space, self.sides, others.tolist())
        self.at_border: Openings | None = None
        if self.border is not None:
            self.at_border = self.border.openings(CLOSED / 2)
        self.known: set[int] = set()

    def at(self, places: Floats) -> set[int]:
        """The openings that places (n, 3) lie at; none if that is not known."""
        return self.at_border.at(places) if self.at_border is not None else set()

    def is_known(self, places: Floats) -> bool:
        """Do places lie at an opening that a way leads through, and at no other?"""
        at = self.at(places)
        return bool(at) and at <= self.known

    def leads(self, throat: Throat, places: Floats | None = None) -> None:
        """Note that a way leads through the opening at some places, or at the way itself."""
        if throat.lower > 0:
            at = self.at(places) if places is not None else set()
            self.known |= at if len(at) == 1 else self.at(throat.way.point)

    def squeezed(
        self, opening: tuple[Contact, Throat], limits: tuple[float, ...]
    ) -> tuple[Contact, Throat]:
        """An opening with what is known of all that passes from one piece to the other."""
        if self.border is None or opening[1].lower <= 0:
            return opening
        return squeezed(self.border, self.sides, opening, limits)
