"""By what can the same result be looked up in an earlier report?

Two keys, coarse first. Neither holds the measured value or the region's size (a wall that gets
thinner grows its region). The coarse one does not hold the file's name (files are renamed); the
other does, so that a result has the same key whatever other files are inspected with it. They are
keys for a look-up, not proof: who compares two reports takes the candidates with the same key and
lets the nearest place decide.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterable

from lint3d.inspection import Result

#: mm; places in the same cell have the same key. Wider than the noise of a re-export.
CELL = 2.0
#: mm; keeps the borders of cells off the round numbers that designers use.
_SHIFT = 0.4142135
BODY_KEY = "ruleAndBody/v1"
PLACE_KEY = "place/v1"
#: So many hex digits of the place key stand in tables, and name a result on the command line.
SHORT = 8


def fingerprints(result: Result) -> dict[str, str]:
    """The keys of a result.

    Returns
    -------
    ruleAndBody/v1 : over rule, body and other body; survives every move of the place
    place/v1 : the same, the file and the cell of 2 mm that the place lies in; the same in two runs
        over the same shape in the same frame, unless the place moved over the border of a cell
    """
    if result.known_as:
        return dict(result.known_as)
    subject = [result.rule, result.body or "", result.part or "", result.other or ""]
    cell = [str(math.floor((x + _SHIFT) / CELL)) for x in result.position or () if math.isfinite(x)]
    return {BODY_KEY: _hash(subject), PLACE_KEY: _hash([*subject, result.uri, *cell])}


def numbered(keys: list[dict[str, str]]) -> list[dict[str, str]]:
    """The keys, with another place key for every further result that has the same.

    Dashboards take two results with one key for one result.
    """
    seen: dict[str, int] = {}
    told_apart = []
    for key in keys:
        place = key[PLACE_KEY]
        seen[place] = seen.get(place, 0) + 1
        again = place if seen[place] == 1 else _hash([place, str(seen[place])])
        told_apart.append({**key, PLACE_KEY: again})
    return told_apart


def short_keys(results: Iterable[Result]) -> dict[int, str]:
    """What tables call each result, by `id(result)`: the first eight digits of its place key.

    The results of a whole inspection have to be given, for keys are told apart in their order.
    """
    ordered = sorted(results, key=lambda result: result.sort_key())
    keys = numbered([fingerprints(result) for result in ordered])
    return {id(result): key[PLACE_KEY][:SHORT] for result, key in zip(ordered, keys, strict=True)}


def _hash(parts: list[str]) -> str:
    text = "\x1f".join(parts).encode("utf-8", "surrogateescape")
    return hashlib.sha256(text).hexdigest()[:32]
