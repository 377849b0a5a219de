"""Which results follow from the places of one rule?

Each place is decided (`requirement.decide`), failing ones that touch are merged, and what passes is
told once, by its tightest place. What was left out is *open* beside the rest.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d.inspection import PathStep, Result
from lint3d.joined import on_one_body
from lint3d.model import Assembly, Body, Part, Source
from lint3d.place import LeftOut, Note, Place
from lint3d.regions import merge_touching, severity
from lint3d.requirement import Requirement, Verdict, decide, tightness

if TYPE_CHECKING:
    from lint3d.plan import AnyRule

Subject = Body | Part | Source | Assembly
Owner = Body | Part | Source

#: More places than this, of one rule on one body, are told as one line. common practice, no source
MOST_PLACES = 100
#: More faces of a place than this are not kept for pictures.
MOST_TRIANGLES = 50_000


@dataclass(frozen=True)
class Case:
    """One rule with what the sheet requires, on one subject."""

    rule: AnyRule
    requirement: Requirement
    subject: Subject


def judge(
    case: Case,
    places: Iterable[Place],
    left_out: Iterable[LeftOut] = (),
    notes: Iterable[Note] = (),
    told_by: Sequence[str] = (),
) -> list[Result]:
    """Results of one rule on one subject.

    Parameters
    ----------
    case : rule, requirement and subject
    places : what the rule yielded
    left_out : what could not be measured: one *open* result for each reason
    notes : told as *informational*
    told_by : rules that have claimed places of this one

    Returns
    -------
    list of Result, at least one: a rule without places passes, unless something was left out
    """
    decided = [(place, _decided(place, case)) for place in map(on_one_body, places)]
    shown = [pair for pair in decided if pair[1] in ("fail", "review")]
    results = [
        _result(case, place, "informational") for place, v in decided if v == "informational"
    ]
    results += _failing(case, shown)
    results += [_open(case, one) for one in _by_reason(case, map(on_one_body, left_out))]
    results += [_noted(case, on_one_body(note)) for note in notes]
    if not shown and not any(result.kind == "open" for result in results):
        passed = [place for place, verdict in decided if verdict == "pass"]
        results += _passing(case, passed, bool(results), told_by)
    return results


def not_applicable(case: Case, reason: str) -> Result:
    """The rule has no subject here."""
    return _bare(case, "notApplicable", reason)


def open_result(case: Case, reason: str, owner: Subject | None = None) -> Result:
    """The rule could not be judged, on its subject or on one body of it."""
    return _bare(case, "open", reason, owner)


def _decided(place: Place, case: Case) -> Verdict:
    if not math.isfinite(place.value) or place.lower is None or math.isnan(place.lower):
        raise ValueError(f"a place has the value {place.value}; a number was expected")
    if place.upper is not None and not place.lower <= place.value <= place.upper:
        raise ValueError(
            f"a place has the value {place.value} outside its own interval "
            f"[{place.lower}, {place.upper}]"
        )
    owner = _owner(case, place)
    if isinstance(owner, (Body, Part)) and len(place.faces):
        rows = np.asarray(place.faces)
        if rows.min() < 0 or rows.max() >= len(owner.faces):
            raise ValueError(f"a place names a face that '{owner.name}' does not have")
    return decide(place.lower, place.upper, case.requirement)


def _failing(case: Case, shown: Sequence[tuple[Place, Verdict]]) -> list[Result]:
    """One result for each connected region, the worst of too many, and a line for the others."""
    by_owner: dict[tuple[int, int], list[Place]] = {}
    owners: dict[tuple[int, int], Owner] = {}
    for place, _ in shown:
        owner = _owner(case, place)
        key = (id(owner), id(place.other))  # a place with another second body is another place
        owners[key] = owner
        by_owner.setdefault(key, []).append(place)
    results = []
    for key, places in by_owner.items():
        owner = owners[key]
        if isinstance(owner, (Body, Part)):
            places = merge_touching(places, owner.faces, case.requirement)
        places.sort(key=lambda place: severity(place, case.requirement))
        rest = places[MOST_PLACES:] if len(places) > MOST_PLACES else []
        results += [_result(case, p, _decided(p, case)) for p in places[: len(places) - len(rest)]]
        if rest:
            results.append(_summed(case, rest))
    return results


def _summed(case: Case, rest: list[Place]) -> Result:
    """One result for the places beyond the worst ones."""
    place = Place(**{**rest[0].__dict__})
    place.remark = f"And {len(rest) - 1} more places like this one, none of them worse."
    place.faces = np.concatenate([np.asarray(one.faces, np.int64) for one in rest])
    place.properties = {**place.properties, "places": len(rest)}
    if case.requirement.kind == "none":
        place.value = sum(one.value for one in rest)
        place.lower = sum(one.lower or 0.0 for one in rest)
        place.upper = sum(one.value if one.upper is None else one.upper for one in rest)
    return _result(case, place, _decided(place, case))


def _passing(case: Case, passed: list[Place], told: bool, told_by: Sequence[str]) -> list[Result]:
    if passed:
        tightest = min(passed, key=lambda place: tightness(place.value, case.requirement))
        return [_result(case, tightest, "pass")]
    if case.requirement.kind == "inform" and told:
        return []
    message = "Nothing of the kind was found."
    if told_by:
        message = f"What there is of the kind is judged by {' and '.join(told_by)}."
    result = _bare(case, "pass", message)
    if case.requirement.kind == "none":
        result.measured = result.lower = result.upper = 0.0
    return [result]


def _owner(case: Case, place: Place) -> Owner:
    """The body that a place lies on, or the part or source if it lies on none in particular."""
    owner: Any = place.of if place.of is not None else case.subject
    if isinstance(owner, Assembly):
        return owner.sources[0]
    if isinstance(owner, Part) and len(owner.bodies) == 1:
        owner = owner.bodies[0]
    return owner


def _result(case: Case, place: Place, kind: Verdict) -> Result:
    owner = _owner(case, place)
    title = "The tightest place meets the requirement." if kind == "pass" else case.rule.title
    result = _bare(case, kind, place.remark or title, owner)
    result.measured, result.lower, result.upper = place.value, place.lower, place.upper
    result.faceting = place.faceting_mm
    result.remedy = "" if kind in ("pass", "informational") else place.remedy or case.rule.remedy
    result.region = place.region
    result.properties = dict(place.properties)
    if place.other is not None:
        result.other, result.other_uri = place.other.name, place.other.source.uri
    if isinstance(owner, (Body, Part)) and len(place.faces):
        _locate(result, owner, np.asarray(place.faces, np.int64))
    elif isinstance(owner, Source):
        result.faces = None
    if place.position is not None:
        result.position = _point(place.position)
    if place.ends is not None:
        result.ends = (_point(place.ends[0]), _point(place.ends[1]))
    if place.other is not None and len(place.other_faces):
        result.other_triangles = _triangles(place.other, np.asarray(place.other_faces, np.int64))
    if place.extent_mm is not None:
        result.extent = float(place.extent_mm)
    result.path = tuple(PathStep(_point(s.position), s.value, s.label) for s in place.path)
    result.related = tuple(PathStep(_point(s.position), s.value, s.label) for s in place.related)
    return result


def _locate(result: Result, owner: Body | Part, faces: np.ndarray[Any, Any]) -> None:
    """Position, extent, number of faces and region in the file, from the faces of a place."""
    corners = owner.faces[faces].ravel()
    # Axis by axis: a whole body's faces may be one place, and this is its fastest way.
    sides = [np.ptp(owner.vertices[:, axis][corners]) for axis in range(3)]
    result.faces = len(faces)
    result.position = _point(owner.vertices[corners[:3]].mean(axis=0))
    result.extent = float(max(sides))
    result.triangles = _triangles(owner, faces)
    result.centre = _middle(owner, faces)
    if result.region is None:
        result.region = owner.region_of(int(faces[0]))


def _triangles(owner: Body | Part, faces: np.ndarray[Any, Any]) -> np.ndarray[Any, Any]:
    return owner.vertices[owner.faces[faces[:MOST_TRIANGLES]]]


def _middle(owner: Body | Part, faces: np.ndarray[Any, Any]) -> tuple[float, float, float] | None:
    """The centroid of the faces; None if they have no area."""
    corners = owner.vertices[owner.faces[faces]]
    across = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area = np.sqrt(np.einsum("ij,ij->i", across, across))
    whole = float(area.sum())
    if not whole > 0:
        return None
    return _point(np.einsum("i,ijk->k", area, corners) / (3 * whole))


def _point(position: Sequence[float] | np.ndarray[Any, Any]) -> tuple[float, float, float]:
    x, y, z = (float(v) for v in position)
    return (x, y, z)


def _bare(case: Case, kind: Verdict, message: str, owner: Subject | None = None) -> Result:
    owner = owner if owner is not None else case.subject
    if isinstance(owner, Part) and len(owner.bodies) == 1:
        owner = owner.bodies[0]
    if isinstance(owner, Assembly):
        uri, part, body = owner.sources[0].uri, None, None
    elif isinstance(owner, Source):
        uri, part, body = owner.uri, None, None
    elif isinstance(owner, Part):
        uri, part, body = owner.source.uri, owner.name, None
    else:
        uri, part, body = owner.source.uri, owner.part.name, owner.name
    return Result(
        rule=case.rule.id,
        kind=kind,
        message=message,
        uri=uri,
        part=part,
        body=body,
        requirement=case.requirement,
    )


def _by_reason(case: Case, left_out: Iterable[LeftOut]) -> list[LeftOut]:
    """One entry for each reason and owner, with all its faces, or none if the first has none."""
    alike: dict[tuple[str, int], list[LeftOut]] = {}
    for one in left_out:
        owner = one.of if one.of is not None else case.subject
        alike.setdefault((one.reason, id(owner)), []).append(one)
    return [_as_one(members) for members in alike.values()]


def _as_one(members: list[LeftOut]) -> LeftOut:
    first = members[0]
    if len(members) == 1 or not len(first.faces):
        return first
    faces = np.concatenate([np.asarray(one.faces, np.int64) for one in members if len(one.faces)])
    return LeftOut(first.reason, faces, first.of, first.position)


def _open(case: Case, one: LeftOut) -> Result:
    return _said(case, "open", one.reason, one)


def _noted(case: Case, note: Note) -> Result:
    result = _said(case, "informational", note.message, note)
    result.properties = dict(note.properties)
    return result


def _said(case: Case, kind: Verdict, message: str, where: LeftOut | Note) -> Result:
    """A result that carries no value, at its place."""
    owner: Any = where.of if where.of is not None else case.subject
    result = _bare(case, kind, message, owner)
    if isinstance(owner, (Body, Part)) and len(where.faces):
        _locate(result, owner, np.asarray(where.faces, np.int64))
    if where.position is not None:
        result.position = _point(where.position)
    return result
