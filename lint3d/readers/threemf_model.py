"""What does one model member of a 3MF say? (plain data)

Lengths in the model's unit. Vertices of an object may hold NaN where the file had no number, and
triangles may hold wrong indices: `threemf_mesh.py` sorts them out.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from lint3d.model import Region


@dataclass(eq=False)
class Reference:
    """A component or a build item: an object to be put somewhere."""

    object_id: int
    path: str | None
    """Member that has the object, None for the one that the reference stands in."""
    matrix: NDArray[np.float64] | None
    """(4, 3), None for "as it is"."""
    where: Region


@dataclass(eq=False)
class ModelObject:
    """An object: a mesh, or components."""

    id: int
    member: str
    name: str | None
    type: str
    where: Region
    vertices: NDArray[np.float64] | None = None
    """(n, 3), None if it has no mesh."""
    triangles: NDArray[np.int64] = field(default_factory=lambda: np.zeros((0, 3), np.int64))
    """(m, 3) row numbers of `vertices`, unchecked."""
    components: list[Reference] = field(default_factory=list)
    has_property: bool = False
    """Has it a material or colour of its own?"""
    extensions: set[str] = field(default_factory=set)
    """Namespaces of elements inside that are not read."""

    @property
    def region(self) -> Region:
        """Where it begins."""
        return replace(self.where, object_id=str(self.id))

    @property
    def shown(self) -> str:
        """How messages name it."""
        return f"object {self.id}" + (f" ('{self.name}')" if self.name else "")


@dataclass(eq=False)
class Model:
    """One model member."""

    member: str
    unit: str = "millimeter"
    objects: dict[int, ModelObject] = field(default_factory=dict)
    items: list[Reference] = field(default_factory=list)
    item_count: int = 0
    """Items of the build, those included that were left out."""
    related: dict[str, set[str]] = field(default_factory=dict)
    """Members that the model's relationships name, and the types of these."""
    textures: list[tuple[str, Region]] = field(default_factory=list)
    """Paths of the pictures that it names."""
    required: list[str] = field(default_factory=list)
    """Namespaces of extensions without which it must not be read."""
    uses_paths: bool = False
    without_uuid: list[Region] = field(default_factory=list)
    """Where the production extension wants a UUID and there is none."""
    build_without_uuid: Region | None = None
    thumbnails: list[tuple[str, Region]] = field(default_factory=list)
