"""How do reliefs become places: one for each inscription, at its worst character?

A part of the plugin `relief`; it has no hooks of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from lint3d import Body, Claim, LeftOut, Note, Place

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from lint3d import Joined
    from lint3d.geometry.relief_codes import Code
    from lint3d.geometry.relief_dots import Dots
    from lint3d.geometry.relief_given import GivenSurface
    from lint3d.geometry.relief_lines import Inscription
    from lint3d.geometry.relief_shapes import Shape
    from lint3d.geometry.reliefs import Found

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Value = tuple[float, float, float]


#: An island is a body of its own if this share of its faces are that body's.
OWN_FACES = 0.7


@dataclass(frozen=True, eq=False)
class Reliefs:
    """Lettering, dots and marks of one body, or of one piece made of several.

    Attributes
    ----------
    found : what the kernels told, on the mesh that was searched
    vertices, surface : corners and faces as given, of `lies_on`, else of the body
    step_mm : what rounding of coordinates can do to a distance
    lies_on : the piece that the faces belong to, None for the body itself
    enclosed : notes of closed hollows that read as lettering
    """

    found: Found
    vertices: Floats
    surface: Ints
    step_mm: float
    lies_on: Joined | None
    enclosed: tuple[Note, ...] = ()

    @cached_property
    def faces(self) -> dict[int, Ints]:
        """Rows of the faces as given of each island, by its identity.

        Worked out when first asked for: it takes long, and where all islands are features of other
        kinds nobody does.
        """
        from lint3d.geometry.relief_faces import faces_as_given

        shapes = self._shapes
        if not shapes:
            return {}
        regions = [shape.measured.island.faces for shape in shapes]
        rows = faces_as_given(self.vertices, self.surface, shapes[0].folds, regions)
        return {id(shape): row for shape, row in zip(shapes, rows, strict=True)}

    @cached_property
    def given(self) -> GivenSurface | None:
        """The surface as given, None where that was searched itself."""
        from lint3d.geometry.relief_given import GivenSurface

        if not self._shapes or self._shapes[0].blur <= self.step_mm:
            return None
        taken = list(self.faces.values())
        return GivenSurface(self.vertices, self.surface, self.step_mm, taken)

    @cached_property
    def loose(self) -> frozenset[int]:
        """The islands that only touch what they stand on, by identity."""
        if self.lies_on is None:
            return frozenset()
        return _loose(self.lies_on, self._shapes, self.faces)

    @cached_property
    def _shapes(self) -> list[Shape]:
        """All islands, smaller ones last: a face belongs to the innermost."""
        shapes = [
            *(shape for one in self.found.inscriptions for shape in one.shapes),
            *(shape for one in self.found.dots for shape in one.shapes),
            *(shape for one in self.found.codes for shape in one.shapes),
            *self.alone,
        ]
        return sorted(shapes, key=lambda shape: -len(shape.measured.island.faces))

    @property
    def alone(self) -> list[Shape]:
        """The islands that no rule judges unless the sheet says so: marks, bars, other features."""
        bars = [shape for group in self.found.bars for shape in group]
        return [*self.found.marks, *bars, *self.found.others]

    def height_of(self, shape: Shape) -> Value:
        """Height of an island with its interval, mm, on the surface as given."""
        if self.given is None:
            return shape.height, shape.lower, shape.upper
        return self.given.height(shape, self.faces[id(shape)])

    @property
    def inscriptions(self) -> list[Inscription]:
        return self.found.inscriptions

    @property
    def dots(self) -> list[Dots]:
        return self.found.dots

    @property
    def codes(self) -> list[Code]:
        return self.found.codes

    @property
    def markings(self) -> list[Inscription | Code]:
        """Everything with strokes: lines of characters and fields of squares."""
        return [*self.inscriptions, *self.codes]

    def faces_of(self, shapes: Sequence[Shape], first: Shape | None = None) -> Ints:
        """Faces of some islands, those of the first one in front."""
        ordered = [*([first] if first is not None else []), *(s for s in shapes if s is not first)]
        rows = [self.faces.get(id(shape), np.zeros(0, np.int64)) for shape in ordered]
        return np.concatenate(rows) if rows else np.zeros(0, np.int64)

    def place(self, value: Value, shapes: Sequence[Shape], worst: Shape, remark: str) -> Place:
        """A place with (value, lower, upper) for an inscription, at its worst island."""
        number, lower, upper = value
        island = worst.measured.island
        return Place(
            number,
            lower=min(max(lower, 0.0), number),
            upper=max(upper, number),
            position=island.centre + (1 if island.raised else -1) * worst.height * island.normal,
            faces=self.faces_of(shapes, worst),
            of=self.lies_on,
            remark=remark,
            distinct=True,
        )

    def told(
        self,
        marking: Inscription | Code | Dots,
        value: Value,
        worst: Shape,
        remark: str,
        shapes: Sequence[Shape] | None = None,
    ) -> Place:
        """A place for an inscription, a code or braille, with what there is to know of it.

        Its faces are those of some `shapes` of it, by default of all.
        """
        place = self.place(value, marking.shapes if shapes is None else shapes, worst, remark)
        place.properties = properties_of(marking)
        return place

    def untold(self, *, raised: bool) -> Iterator[LeftOut]:
        """What stands beside lettering like a character of it, and is none that was told."""
        for middle in self.found.untold[raised]:
            yield LeftOut(
                "Beside lettering something stands as high as its characters, without a foot that "
                "can be told: a letter there is not measured. Sharpen the rounding at its foot, "
                "or export finer facets.",
                of=self.lies_on,
                position=middle,
            )

    def claim(self, marking: Inscription | Code) -> Claim:
        """All faces of a marking."""
        return Claim(faces=self.faces_of(marking.shapes), of=self.lies_on)

    def note(self, shapes: Sequence[Shape], message: str) -> Note:
        """Islands that are no verdict, with the height of the lowest."""
        lowest = min(shapes, key=lambda shape: self.height_of(shape)[0])
        height, lower, upper = self.height_of(lowest)
        return Note(
            message,
            faces=self.faces_of(shapes, lowest),
            of=self.lies_on,
            position=lowest.measured.island.centre,
            properties={"height_mm": height, "interval_mm": [lower, upper]},
        )


def reliefs_of(body: Body, *, plain: bool) -> Reliefs:
    """Look for reliefs on a body, or on the piece that it is the largest body of.

    `plain` looks for bosses and holes of convex outline, too, which are no marking.
    """
    from lint3d.geometry.reliefs import find_reliefs
    from lint3d.geometry.topology import edge_table

    joined = body.joined
    vertices, faces, step = body.vertices, body.faces, body.coordinate_step_mm
    table = body.edges
    if joined is not None:
        vertices, faces, step = joined.vertices, joined.faces, joined.coordinate_step_mm
        table = edge_table(faces, len(vertices))
    found = find_reliefs(vertices, faces, table, step, plain=plain)
    return Reliefs(found, vertices, faces, step, joined, tuple(_enclosed(body)))


def _enclosed(body: Body) -> Iterator[Note]:
    """What the closed hollows of a body read as."""
    from lint3d.geometry.relief_enclosed import enclosed_lettering

    hollow = [shell for shell in body.shells if shell.depth % 2 == 1 and shell.closed]
    if not hollow:
        return
    rows = [np.searchsorted(body.face_in_part, shell.faces) for shell in hollow]
    for one in enclosed_lettering(body.vertices, [body.faces_as_given[row] for row in rows]):
        yield Note(
            f"{len(one.rows)} closed hollows read as lettering {one.depth:.4g} mm deep, left full "
            "of support as an inner label; drain/sealed-pocket tells of them as well.",
            faces=np.concatenate([rows[i] for i in one.rows.tolist()]),
            of=body,
            position=one.centre,
            properties={"hollows": len(one.rows), "depth_mm": one.depth},
        )


def _loose(joined: Joined, shapes: Sequence[Shape], rows: dict[int, Ints]) -> frozenset[int]:
    """Islands that are a body of their own, where neither it nor another reaches into the other."""
    found = set()
    for shape in shapes:
        faces = rows[id(shape)]
        if not len(faces):
            continue
        # A few faces along the foot may be those of the base.
        count = np.bincount(joined.body_of_face[faces], minlength=len(joined.bodies))
        number = int(count.argmax())
        if number == 0 or count[number] < OWN_FACES * len(faces):
            continue
        owner = joined.bodies[number]
        others = [body for body in joined.bodies if body is not owner]
        if not any(_holds(owner, body, joined.coordinate_step_mm) for body in others):
            found.add(id(shape))
    return frozenset(found)


def _holds(one: Body, other: Body, step_mm: float) -> bool:
    """Does either body reach into the other, beyond what rounding does?"""
    from lint3d.geometry.piercing import reaches_into

    deep_mm = 4 * step_mm + 1e-6
    into = reaches_into(one.vertices, one.faces, other.vertices, other.faces, deep_mm)
    return into or reaches_into(other.vertices, other.faces, one.vertices, one.faces, deep_mm)


def worst_of(
    marking: Inscription | Code, value: Callable[[Shape], Value | None], *, largest: bool = False
) -> tuple[Shape, Value] | None:
    """The island with the smallest (or largest) value; None if none has one."""
    valued = [(shape, value(shape)) for shape in marking.shapes]
    known = [(shape, one) for shape, one in valued if one is not None and np.isfinite(one[0])]
    if not known:
        return None
    chosen = max if largest else min
    return chosen(known, key=lambda pair: pair[1][0])


def said(marking: Inscription | Code) -> str:
    """A marking in words, as the subject of a sentence."""
    from lint3d.geometry.relief_codes import Code

    kind = "raised" if marking.raised else "sunk"
    if isinstance(marking, Code):
        rows, columns = marking.filled.shape
        return f"A field of {rows} by {columns} {kind} squares, {marking.pitch:.3g} mm each"
    count = marking.characters
    tall = marking.character_height
    return (
        f"{count} {kind} characters, {tall:.3g} mm tall" if count > 1 else f"One {kind} character"
    )


def properties_of(marking: Inscription | Code | Dots) -> dict[str, Any]:
    """Facts about a marking, for reports.

    Its box after every transform in the file, and how many islands it is made of (of braille: how
    many dots; which cells they make up is not always to be known). Of lettering also
    how many characters, how tall, and along which way they run at the middle one. (They may be read
    against it: which way up they are cannot be known from shape.)
    """
    from lint3d.geometry.relief_codes import Code
    from lint3d.geometry.relief_dots import Dots

    islands = [shape.measured.island for shape in marking.shapes]
    low = np.min([one.low for one in islands], axis=0)
    high = np.max([one.high for one in islands], axis=0)
    facts: dict[str, Any] = {"islands": len(islands), "box_mm": [low.tolist(), high.tolist()]}
    if isinstance(marking, Dots):
        return facts
    if isinstance(marking, Code):
        rows, columns = marking.filled.shape
        return {**facts, "rows": rows, "columns": columns, "pitch_mm": marking.pitch}
    return {
        **facts,
        "characters": marking.characters,
        "character_height_mm": marking.character_height,
        "reading_direction": marking.way.tolist(),
    }


def narrowest_stroke(shape: Shape) -> Value | None:
    width = shape.strokes.narrowest
    if not np.isfinite(width):
        return None
    blur = shape.stroke_uncertainty(width)
    return width, max(width - blur, 0.0), width + blur


def stroke_of(marking: Inscription | Code) -> tuple[Shape, Value] | None:
    """The narrowest stroke, with its island; of a field of squares, the width of one.

    Where squares touch at their corners they are joined by next to nothing, and no stroke is lost
    if that breaks.
    """
    from lint3d.geometry.relief_codes import Code

    if not isinstance(marking, Code):
        return worst_of(marking, narrowest_stroke)
    width = marking.square
    blur = max(shape.stroke_uncertainty(width) for shape in marking.shapes)
    return marking.shapes[0], (width, max(width - blur, 0.0), width + blur)


def narrowest_counter(shape: Shape) -> Value | None:
    if not len(shape.counters):
        return None
    width = float(shape.counters.min())
    blur = shape.stroke_uncertainty(width)
    return width, max(width - blur, 0.0), width + blur


def slenderness(shape: Shape, height: Value) -> Value | None:
    """Height over the narrowest stroke."""
    stroke = narrowest_stroke(shape)
    if stroke is None or stroke[1] <= 0:
        return None
    return height[0] / stroke[0], height[1] / stroke[2], height[2] / stroke[1]


def stroke_share(inscription: Inscription) -> tuple[Shape, Value] | None:
    """The usual stroke of the middle character over the height of the line."""
    known = [shape for shape in inscription.shapes if np.isfinite(shape.strokes.usual)]
    if not known:
        return None
    known.sort(key=lambda shape: shape.strokes.usual)
    shape = known[len(known) // 2]
    width = shape.strokes.usual
    blur = shape.stroke_uncertainty(width)
    low, high = inscription.character_height_interval
    tall = inscription.character_height
    return shape, (width / tall, (width - blur) / high, (width + blur) / max(low, 1e-9))


def extremes(values: Sequence[tuple[Shape, Value]]) -> Iterator[tuple[Shape, Value]]:
    """The smallest and the largest of some values: what lies between meets what both meet."""
    known: list[Any] = [pair for pair in values if np.isfinite(pair[1][0])]
    if known:
        known.sort(key=lambda pair: pair[1][0])
        yield known[0]
        if len(known) > 1:
            yield known[-1]
