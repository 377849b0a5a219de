"""Do the ids of a model's resources fit together?

Every resource has an id of its own; a reference points back to one that stands before it; a
property (material, colour) is an entry of a group. Properties do not change the shape, but a model
whose ids do not fit is not a valid 3MF, and other programs refuse it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lint3d.model import Region
from lint3d.readers import threemf_terms as terms
from lint3d.readers.faultlist import FaultList, Kind
from lint3d.readers.threemf_model import ModelObject
from lint3d.readers.threemf_numbers import NO_INTEGER, integer

EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
BAD_ID = Kind("resource", "whose id is no whole number from 1 to 2147483647", EXPORT_AGAIN)
DOUBLE_ID = Kind("resource", "whose id another one has too; the first was taken", EXPORT_AGAIN)
FORWARD = Kind("reference", "to an object behind it, or to its own", EXPORT_AGAIN)
NO_OBJECT = Kind("reference", "to an object that is not there, left out", EXPORT_AGAIN)
BAD_PROPERTY = Kind(
    "property",
    "of no material or colour of the model (the shape was inspected)",
    EXPORT_AGAIN,
)


class Resources:
    """Resources in the order in which they are met."""

    def __init__(self, faults: FaultList) -> None:
        self._faults = faults
        self._tags: dict[int, str] = {}
        self._sizes: dict[int, int] = {}
        self._current = NO_INTEGER
        self._pending: list[tuple[int, Region]] = []

    def start(self, tag: str, attributes: dict[str, str], where: Region) -> None:
        """A resource begins."""
        self._current = NO_INTEGER
        core = tag in (terms.OBJECT, terms.BASE_MATERIALS)
        if not core and "id" not in attributes:
            return
        identifier = integer(attributes.get("id"))
        if not 0 < identifier < terms.ID_END:
            self._faults.count(BAD_ID, where)
        elif identifier in self._tags:
            self._faults.count(DOUBLE_ID, where)
        else:
            self._tags[identifier], self._sizes[identifier] = tag, 0
            self._current = identifier

    def end(self) -> None:
        """The current resource has ended."""
        self._current = NO_INTEGER

    def member(self) -> None:
        """The current resource has one more entry."""
        if self._current in self._sizes:
            self._sizes[self._current] += 1

    def refer(self, identifier: int, where: Region) -> None:
        """An object of this model is referred to."""
        if identifier == self._current or self._tags.get(identifier) != terms.OBJECT:
            self._pending.append((identifier, where))

    def finish(self) -> None:
        """The model has ended: what was referred to too early?"""
        for identifier, where in self._pending:
            is_there = self._tags.get(identifier) == terms.OBJECT
            self._faults.count(FORWARD if is_there else NO_OBJECT, where)

    def use(self, group: str | None, index: str | None, where: Region) -> None:
        """An object names its property."""
        at = 0 if index is None else integer(index)
        size = self._size(integer(group)) if group is not None else terms.ID_END
        if size is None or at < 0 or (index is not None and at >= size):
            self._faults.count(BAD_PROPERTY, where)

    def use_rows(self, rows: NDArray[np.int64], made: ModelObject) -> None:
        """Triangles name their properties: (m, 4) pid p1 p2 p3, -1 where there is none."""
        used = np.flatnonzero((rows != -1).any(axis=1))
        if not len(used):
            return
        bad = (rows[used] < -1).any(axis=1)
        for group in np.unique(rows[used, 0]).tolist():
            if group == -1:
                continue
            members = rows[used, 0] == group
            size = self._size(group)
            bad |= members & (size is None or (rows[used, 1:] >= (size or 0)).any(axis=1))
        if bad.any():
            first = Region(
                member=made.member, object_id=str(made.id), facet=int(used[np.argmax(bad)])
            )
            self._faults.count(BAD_PROPERTY, first, int(np.count_nonzero(bad)))

    def _size(self, group: int) -> int | None:
        """How many entries a property group has, None if there is none of this id."""
        if self._tags.get(group) not in terms.PROPERTY_GROUPS:
            return None
        return self._sizes[group]
