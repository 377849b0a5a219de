"""How do many faults of one kind become one clear sentence?

A file with a million bad facets has one fault: what is wrong, how often, and where first. Messages
are predicates of the file ("has 3 facets …"), as everywhere in lint3d.
"""

from __future__ import annotations

from dataclasses import dataclass

from lint3d.errors import UnreadableFile
from lint3d.model import Fault, Region

_VERBS = {"is": "are", "was": "were", "does": "do", "has": "have", "its": "their"}


@dataclass(frozen=True)
class Kind:
    """A kind of fault that may come many times: "has 3 `noun`s `what`".

    {is} {was} {does} {has} in `what` become {are} {were} {do} {have} if there is more than one.
    """

    noun: str
    what: str
    remedy: str
    harmless: bool = False


def counted(count: int, noun: str) -> str:
    """`count` things in words.

    Examples
    --------
    >>> counted(1, "facet"), counted(12000, "vertex"), counted(0, "body")
    ('1 facet', '12000 vertices', '0 bodies')
    """
    if count == 1:
        return f"1 {noun}"
    if noun.endswith("ex"):
        return f"{count} {noun[:-2]}ices"
    if noun.endswith("y"):
        return f"{count} {noun[:-1]}ies"
    return f"{count} {noun}s"


def place_of(region: Region) -> str:
    """Where, in words.

    Examples
    --------
    >>> place_of(Region(byte_offset=134, byte_length=50, facet=1))
    'facet 1, byte 134'
    >>> place_of(Region(member="3D/part.model", object_id="4", facet=7))
    '3D/part.model, object 4, triangle 7'
    >>> place_of(Region(start_line=9, end_line=15))
    'line 9'
    """
    words = []
    if region.member is not None:
        words.append(region.member)
    if region.object_id is not None:
        words.append(f"object {region.object_id}")
    if region.facet is not None:
        words.append(f"{'facet' if region.member is None else 'triangle'} {region.facet}")
    if region.start_line is not None:
        words.append(f"line {region.start_line}")
    if region.byte_offset is not None:
        words.append(f"byte {region.byte_offset}")
    return ", ".join(words)


class FaultList:
    """Faults in the order in which they were first met; a kind that comes again is counted."""

    def __init__(self) -> None:
        self._single: list[Fault | Kind] = []
        self._met: dict[Kind, tuple[int, Region]] = {}

    def add(
        self,
        message: str,
        remedy: str,
        region: Region | None = None,
        count: int = 1,
        *,
        harmless: bool = False,
    ) -> None:
        """A fault that comes once."""
        self._single.append(Fault(message, remedy, count, region, harmless=harmless))

    def count(self, kind: Kind, region: Region, count: int = 1) -> None:
        """`count` more of one kind; `region` is where the first of these stands."""
        if count <= 0:
            return
        if kind in self._met:
            before, first = self._met[kind]
            self._met[kind] = before + count, first
        else:
            self._single.append(kind)
            self._met[kind] = count, region

    def has(self, kind: Kind) -> bool:
        """Has one of this kind been met?"""
        return kind in self._met

    def faults(self) -> list[Fault]:
        """All of them, each kind once."""
        return [self._told(one) if isinstance(one, Kind) else one for one in self._single]

    def unreadable(self, message: str, remedy: str) -> UnreadableFile:
        """Nothing is left to inspect: the reason, with what was found wrong on the way."""
        found = sorted(self.faults(), key=lambda fault: fault.harmless)
        if not found:
            return UnreadableFile(message, remedy)
        first = found[0]
        return UnreadableFile(f"{message} It {first.message}", first.remedy, first.region)

    def _told(self, kind: Kind) -> Fault:
        count, region = self._met[kind]
        place = place_of(region)
        where = f" ({'first ' if count > 1 else ''}at {place})" if place else ""
        what = kind.what
        for one, many in _VERBS.items():
            what = what.replace(f"{{{one}}}", one if count == 1 else many)
        message = f"has {counted(count, kind.noun)} {what}{where}."
        return Fault(message, kind.remedy, count, region, harmless=kind.harmless)
