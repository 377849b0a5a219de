"""What does a rule hand over? A place: a value, its uncertainty, and where.

A place knows no limit. `Places` is a list of them with what could not be measured beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d.joined import Joined
    from lint3d.model import Body, Part, Region, Source

    Rows = Sequence[int] | NDArray[Any]
    Point = Sequence[float] | NDArray[Any]


@dataclass(eq=False)
class Place:
    """A measured value and where it was measured.

    Parameters
    ----------
    value : in the rule's unit
    lower, upper : the truth lies between them; `upper` None means that `value` is a lower bound.
        Both default to `value`: an exact number, such as a count.
    position : (3,) mm, where to look; the engine takes the middle of the first face if None
    faces : rows of the faces of `of`; the first is the worst
    of : the body, part, source or joined piece (`Body.joined`) that `faces` belong to; None = the
        rule's own subject
    other : the second body of a pair
    other_faces : rows of the faces of `other` that the place lies between, for pictures
    ends : the two points that the value lies between, (3,) mm each, for pictures
    extent_mm : longest side of the place's box; worked out from the faces if None
    remark : one plain sentence more, specific to this place
    distinct : a whole region by itself: never merged with another that it touches (ten blind holes
        under one large facet are ten)
    related : more points that the place stands for, such as the worst of very many
    properties : further facts for scripts; keys must not be those of every result
    """

    value: float
    lower: float | None = None
    upper: float | None = None
    is_lower_bound: bool = False
    position: Point | None = None
    faces: Rows = ()
    of: Body | Part | Source | Joined | None = None
    other: Body | None = None
    other_faces: Rows = ()
    ends: tuple[Point, Point] | None = None
    extent_mm: float | None = None
    faceting_mm: float | None = None
    remark: str | None = None
    remedy: str | None = None
    region: Region | None = None
    path: Sequence[Step] = ()
    related: Sequence[Step] = ()
    distinct: bool = False
    properties: dict[str, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.lower is None:
            self.lower = self.value
        if self.upper is None and not self.is_lower_bound:
            self.upper = self.value

    @classmethod
    def measured(cls, value: float, uncertainty: float, **more: Any) -> Place:
        """A place whose truth lies within `value` ± `uncertainty`."""
        return cls(value, lower=value - uncertainty, upper=value + uncertainty, **more)


@dataclass(frozen=True)
class Step:
    """One point of a path, from the place to the outside, with the width there in mm."""

    position: tuple[float, float, float]
    value: float | None = None
    label: str = ""


@dataclass(eq=False)
class LeftOut:
    """A region that could not be measured, with the reason: it is reported *open*."""

    reason: str
    faces: Rows = ()
    of: Body | Part | Source | Joined | None = None
    position: Point | None = None


@dataclass(eq=False)
class Claim:
    """What a rule judges itself, so that the rules named in its `claims=` leave it out.

    Parameters
    ----------
    faces : rows of the faces of `of`; a place with most of its area on them is claimed
    of : the body or joined piece that `faces` belong to; None = the rule's own subject
    way : (n, 3) mm, a line or a point; a place whose position lies within `within_mm` is claimed
    between : bodies; a place that lies on one of them and has another of them as its `other` is
        claimed
    """

    faces: Rows = ()
    of: Body | Part | Source | Joined | None = None
    way: Sequence[Point] | NDArray[Any] = ()
    within_mm: float = 0.0
    between: Sequence[Body] = ()


class Places(Sequence[Place]):
    """Places with what had to be left out. Iterating yields the places."""

    def __init__(self, places: Iterable[Place] = (), left_out: Iterable[LeftOut] = ()) -> None:
        self._places = tuple(places)
        self.left_out = tuple(left_out)

    def __getitem__(self, index: Any) -> Any:
        return self._places[index]

    def __len__(self) -> int:
        return len(self._places)

    def __iter__(self) -> Iterator[Place]:
        return iter(self._places)

    def __repr__(self) -> str:
        return f"Places({len(self._places)}, left out {len(self.left_out)})"


@dataclass(eq=False)
class Note:
    """Something worth knowing that is no finding: a rule yields it and it is *informational*."""

    message: str
    faces: Rows = ()
    of: Body | Part | Source | Joined | None = None
    position: Point | None = None
    properties: dict[str, Any] = field(default_factory=dict)
