"""Has an element the attributes that it may have?

Core, the production extension's UUIDs and paths, and the elements of the materials extension.
"""

from __future__ import annotations

import re

from lint3d.model import Region
from lint3d.readers import threemf_terms as terms
from lint3d.readers.faultlist import FaultList, Kind

EXPORT_AGAIN = "Export the file again, or tell the maker of the program that wrote it."
UNKNOWN_ELEMENT = Kind("element", "foreign to 3MF in that place, passed over", EXPORT_AGAIN)
UNKNOWN_ATTRIBUTE = Kind("element", "with an attribute that 3MF does not have", EXPORT_AGAIN)
BAD_UUID = Kind("UUID", "that {is} ill-formed or used twice", EXPORT_AGAIN)
BAD_COLOUR = Kind(
    "colour", "of another form than #RRGGBB or #RRGGBBAA (the shape was inspected)", EXPORT_AGAIN
)
_COLOUR = re.compile(r"#[0-9a-fA-F]{6}([0-9a-fA-F]{2})?")
_UUID = re.compile(r"[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}")
_UUID_KEY = f"{terms.PRODUCTION} UUID"


def has_unknown_attribute(tag: str, attributes: dict[str, str]) -> bool:
    """Has a core element an attribute that it may not have?"""
    known = terms.ATTRIBUTES.get(tag)
    if known is not None and known >= attributes.keys():
        return False
    for name in attributes:
        namespace, _, bare = name.rpartition(" ")
        if namespace == terms.PRODUCTION and bare not in terms.PRODUCTION_ATTRIBUTES.get(tag, ()):
            return True
        if namespace == terms.XML and bare != "lang":
            return True
        if not namespace and known is not None and bare not in known:
            return True
    return False


def check_material(
    parent: str, name: str, attributes: dict[str, str], where: Region, faults: FaultList
) -> None:
    """Count an element of the materials extension that is unknown, misplaced, or has such an
    attribute."""
    in_resources = parent == terms.RESOURCES
    table = terms.MATERIAL_RESOURCES if in_resources else terms.MATERIAL_MEMBERS
    if name not in table:
        faults.count(UNKNOWN_ELEMENT, where)
        return
    if name == "color":
        check_colour(attributes, where, faults)
    known = table[name]
    if known is not None and any(" " not in key and key not in known for key in attributes):
        faults.count(UNKNOWN_ATTRIBUTE, where)


def check_colour(attributes: dict[str, str], where: Region, faults: FaultList) -> None:
    """Count a colour that is none."""
    for key in ("displaycolor", "color"):
        if key in attributes and not _COLOUR.fullmatch(attributes[key]):
            faults.count(BAD_COLOUR, where)


class Uuids:
    """UUIDs of the production extension: each is used once in a package."""

    def __init__(self, faults: FaultList) -> None:
        self._faults = faults
        self._met: set[str] = set()

    def note(self, attributes: dict[str, str], where: Region) -> bool:
        """Is there one? If it is ill-formed or met before, that is counted."""
        value = attributes.get(_UUID_KEY)
        if value is None:
            return False
        if not _UUID.fullmatch(value) or value.lower() in self._met:
            self._faults.count(BAD_UUID, where)
        self._met.add(value.lower())
        return True
