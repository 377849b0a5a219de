"""What is known of the hollows of a part?

Plain data, handed from `voids.py` to whoever judges it. Lengths in mm, volumes in mm3, widths are
diameters of balls; `lower` and `upper` bound the truth.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lint3d.geometry.throats import Throat

if TYPE_CHECKING:
    import networkx as nx

    from lint3d.geometry.throats_clearance import Clearance
    from lint3d.geometry.voids_space import Space

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Node of the graph that stands for the outside.
OUTSIDE = 0


@dataclass(frozen=True, eq=False)
class SealedPocket:
    """A hollow that nothing leads to."""

    volume: float
    """mm3, exact: from the shells around and inside it"""
    uncertainty: float
    """mm3, from the steps of float32 coordinates"""
    position: Floats
    """(3,) mm, a point inside: the middle of the largest ball seen, else the middle of its box"""
    extent: float
    """mm, longest side of its box"""
    faces: Ints
    """rows of the faces around it and of bodies loose in it"""
    bodies_inside: int
    """how many shells lie loose in it"""


@dataclass(frozen=True, eq=False)
class Opening:
    """Where a pocket meets another one or the outside."""

    to: int
    """node on the other side"""
    key: int
    """key of the edge in the graph"""
    throat: Throat
    """`direction` leads out of the pocket"""


@dataclass(frozen=True, eq=False)
class Pocket:
    """A hollow that meets the outside only through something narrower than itself."""

    node: int
    volume: float
    volume_lower: float
    volume_upper: float
    position: Floats
    """(3,) mm, middle of the largest ball in it"""
    diameter: float
    """mm, of that ball, to half a voxel"""
    openings: tuple[Opening, ...]
    """by falling width"""
    throat: Throat
    """the narrowest place of the widest way out"""
    way: Floats
    """(n, 3) mm, the widest way out, from the pocket to the outside"""
    way_width: Floats
    """(n,) mm, the largest ball about each of its points"""
    way_nodes: tuple[int, ...]
    """nodes passed, from the pocket to the outside"""
    depth: float
    """mm, length of that way"""
    bridge: Throat | None
    """the narrowest throat that every way out leads through; None if there is none"""
    faces: Ints
    """some faces around it, at most a few hundred"""


@dataclass(frozen=True)
class NotSeen:
    """Something that could not be measured, and why."""

    reason: str
    position: tuple[float, float, float] | None = None
    may_be_sealed: bool = False
    """whether a hollow is closed was not told for certain"""


@dataclass(eq=False)
class Voids:
    """The hollows of a part."""

    pitch: float
    """mm, of the grid"""
    sealed: list[SealedPocket] = field(default_factory=list)
    pockets: list[Pocket] = field(default_factory=list)
    graph: nx.MultiGraph | None = None
    """Nodes: chambers (`volume`, `position`, `diameter`), 0 = outside. Edges: openings (`throat`
    a Throat seen from the lower node, `diameter`, `lower`, `upper`, `length`, `position`)."""
    left_out: list[NotSeen] = field(default_factory=list)
    leaks: int = 0
    """columns in which the surface does not close and two of three axes had to decide"""
    overlaps: bool = False
    """bodies overlap; they were taken as one"""
    spaces: list[Space] = field(default_factory=list)
    """the grids, for questions that come later (`voids_recesses.py`)"""
    clearance: Clearance | None = None
