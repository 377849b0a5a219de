"""A place that two rules see is told by the one that claims it, and by the other if that is off."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pytest
from house import registry_of
from parts import box, joined, part_of, source_of

from lint3d import (
    Assembly,
    Body,
    Claim,
    NotMeasurable,
    Place,
    PluginError,
    Requirement,
    Result,
    Rule,
    Sheet,
    rule,
)
from lint3d.claims import Claims
from lint3d.engine import Run
from lint3d.plan import check_plugins, make_plan

AT_LEAST = Requirement("at least", "mm", "doc", low=5.0)
SHEET = Sheet("own", "Own", ("own",))


@rule("walls/low", measures="mm")
def low(body: Body) -> Iterator[Place]:
    """A place on the lower faces, and one on all others."""
    for number, rows in enumerate((range(2), range(2, 12))):
        middle = body.vertices[body.faces[list(rows)]].mean(axis=(0, 1))
        yield Place(number + 1.0, faces=list(rows), position=middle, distinct=True)


@rule("relief/mark", measures="mm", claims=("walls/low",))
def mark(body: Body) -> Iterator[Place | Claim]:
    """Judges the first two faces itself, though they pass."""
    yield Place(9.0, faces=[0, 1])
    yield Claim(faces=[0, 1])


@rule("drain/way", measures="mm", claims=("walls/low",))
def way(assembly: Assembly) -> Iterator[Place | Claim]:
    """Judges what lies on a line through the body; of a wider scope, so it comes later."""
    yield Claim(way=[(3, 5, 5), (15, 5, 5)], within_mm=0.9)


def told(*rules: Rule, off: tuple[str, ...] = ()) -> dict[str, list[Result]]:
    registry = registry_of(*rules)
    known = dict(registry.rules)
    scopes = check_plugins(registry, known)
    on = {one: AT_LEAST for one in known if one not in off}
    run = Run(make_plan(registry, known, on, scopes), registry, SHEET)
    outcome = run.over(Assembly([source_of(box(10))]))
    assert outcome.notifications == []
    return {one: [r for r in outcome.results if r.rule == one] for one in on}


def test_without_a_claim_both_places_are_told() -> None:
    assert [r.measured for r in told(low)["walls/low"]] == [1.0, 2.0]


def test_a_claimed_place_is_told_by_the_claiming_rule_alone() -> None:
    found = told(low, mark)
    assert [r.measured for r in found["walls/low"]] == [2.0]
    assert [(r.kind, r.measured) for r in found["relief/mark"]] == [("pass", 9.0)]


def test_a_rule_that_is_off_claims_nothing() -> None:
    assert [r.measured for r in told(low, mark, off=("relief/mark",))["walls/low"]] == [1.0, 2.0]


def test_a_rule_that_cannot_measure_claims_nothing() -> None:
    @rule("relief/mark", measures="mm", claims=("walls/low",))
    def broken(body: Body) -> Iterator[Place | Claim]:
        """Gives up after its claim."""
        yield Claim(faces=[0, 1])
        raise NotMeasurable("it is too dark")

    assert [r.measured for r in told(low, broken)["walls/low"]] == [1.0, 2.0]


def test_a_claim_along_a_line_from_a_wider_scope() -> None:
    """The middle of the ten faces lies on the line, that of the first two 3 mm before it."""
    assert [r.measured for r in told(low, way)["walls/low"]] == [1.0]


def test_where_all_is_claimed_the_result_says_by_whom() -> None:
    (result,) = told(low, mark, way)["walls/low"]
    assert result.kind == "pass"
    assert result.measured is None
    assert result.message == "What there is of the kind is judged by drain/way and relief/mark."


def test_claims_in_a_circle_are_refused() -> None:
    @rule("walls/low", measures="mm", claims=("relief/mark",))
    def claiming(body: Body) -> Iterator[Claim]:
        """Claims back."""
        yield Claim(faces=[0])

    with pytest.raises(PluginError, match=r"circle: .*relief/mark.*walls/low"):
        told(claiming, mark)


def test_most_of_a_place_must_be_claimed() -> None:
    body = part_of(box([10, 10, 1])).bodies[0]
    claims = Claims()
    large = int(np.argmax(body.mesh.area_faces))
    small = int(np.argmin(body.mesh.area_faces))
    claims.add(Claim(faces=[small]), body, "a/b", ["c/d"])
    place = Place(1.0, faces=[large, small])
    assert claims.sift("c/d", [place], body) == ([place], [])
    assert claims.sift("c/e", [Place(1.0, faces=[small])], body)[1] == []
    claims.add(Claim(faces=[large]), body, "x/y", ["c/d"])
    assert claims.sift("c/d", [place], body) == ([], ["x/y"])


def test_a_claim_on_a_joined_piece_holds_on_each_body() -> None:
    part = part_of(joined(box(10), box([5, 4, 4], [9, 3, 3])))
    large, small = part.bodies
    piece = large.joined
    assert piece is not None
    claims = Claims()
    claims.add(Claim(faces=np.arange(len(piece.faces))), piece, "a/b", ["c/d"])
    for body in (large, small):
        face = int(piece.own_rows(np.arange(len(piece.faces)), body)[0])
        assert claims.sift("c/d", [Place(1.0, faces=[face])], body) == ([], ["a/b"])


def test_places_between_some_bodies_can_be_claimed() -> None:
    part = part_of(joined(box(10), box(5, [20, 0, 0]), box(2, [40, 0, 0])))
    one, two, three = part.bodies
    claims = Claims()
    claims.add(Claim(between=[one, two]), one, "a/b", ["c/d"])
    inside, outside = Place(1.0, of=two, other=one), Place(1.0, of=two, other=three)
    assert claims.sift("c/d", [inside, outside, Place(1.0, of=one)], one)[1] == ["a/b"]
    assert claims.sift("c/d", [outside, Place(1.0, of=one)], one)[1] == []


def test_faces_of_nothing_cannot_be_claimed() -> None:
    with pytest.raises(ValueError, match="which body"):
        Claims().add(Claim(faces=[0]), Assembly([]), "a/b", ["c/d"])
