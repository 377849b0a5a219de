"""Relief: will raised and sunk lettering, marks and dots be there, and readable, after cleaning?

An inscription is told once, at its worst character. What stands alone and may be a boss is
information (`[relief] lone_marks` on the sheet makes it count). What is mirrored cannot be known
from shape. Strokes, serifs and the spaces in lettering are told here and not by the rules of walls.
"""

from __future__ import annotations

from collections.abc import Iterator

from lint3d import (
    Body,
    Claim,
    LeftOut,
    Measure,
    NotApplicable,
    Note,
    NotMeasurable,
    Place,
    Rule,
    Sheet,
    hookimpl,
    measure,
    rule,
)
from lint3d_plugins.relief_places import (
    Reliefs,
    extremes,
    narrowest_counter,
    reliefs_of,
    said,
    slenderness,
    stroke_of,
    stroke_share,
    worst_of,
)

#: Rules of walls that see the strokes of lettering and what is sharp or thin on them ...
MATERIAL = (
    "walls/thin-wall", "walls/free-wall", "walls/thin-rod", "walls/knife-edge", "walls/slender",
)  # fmt: skip
#: ... and those that see the spaces in it and between its characters.
SPACE = ("walls/narrow-gap", "walls/small-hole", "walls/deep-hole")
#: Share of edges without two faces beyond which it says nothing that no lettering is found. Letters
#: without caps, or with caps that are there twice, have 10 to 25 % on a plain plate; a few missing
#: faces stay far below it.
MOST_BROKEN_EDGES = 0.03
#: A surface of fewer faces carries nothing: an L alone has four on its cap and twelve on its walls.
LEAST_FACES = 16


@measure(unit="mm")
def reliefs(body: Body, sheet: Sheet) -> Reliefs:
    """Which inscriptions, dots and marks does the body carry, how high, how wide, how tall?

    Bodies that overlap or touch are one piece of material, looked at once, with the largest.

    Returns
    -------
    Reliefs
        Heights are along the normal of the base below each island, with interval.
    Raises
    ------
    NotMeasurable : the surface is too rough to tell relief from noise; or nothing was found, on a
        surface that does not hang together
    NotApplicable : the body is a part of a piece that is looked at with another body
    """
    if body.joined is not None and body is not body.joined.bodies[0]:
        largest = body.joined.bodies[0]
        raise NotApplicable(f"It is one piece with '{largest.name}', and looked at there.")
    found = reliefs_of(body, plain=sheet.lone_marks == "judge")
    if found.found.trouble:
        raise NotMeasurable(found.found.trouble)
    bodies = body.joined.bodies if body.joined is not None else (body,)
    if not (found.markings or found.dots) and any(_is_in_pieces(one) for one in bodies):
        raise NotMeasurable(
            "Too many faces have no single neighbour along an edge for lettering to be seen; "
            "solid/open-edge, solid/non-manifold-edge and solid/duplicate-face tell more. "
            "Join the corners that should meet and remove faces that are there twice."
        )
    return found


def _is_in_pieces(body: Body) -> bool:
    """Is more than a share of its edges not between two faces?

    Outlines are followed from face to face: where that cannot be done, nothing found means little.
    A crumb of a few faces has none.
    """
    if len(body.faces) < LEAST_FACES:
        return False
    users = body.edges.users()
    return int((users != 2).sum()) > MOST_BROKEN_EDGES * len(users)


# --- rules --------------------------------------------------------------------------------------


@rule("relief/raised-height", measures="mm")
def raised_height(reliefs: Reliefs, sheet: Sheet) -> Iterator[Place | Note | LeftOut]:
    """Raised lettering too low to be read.

    The value is the height of the lowest character above the face it stands on. Lettering is a line
    of characters of two shapes at least. A single one, a word whose letters touch, equal ones in a
    row (111) and two that are alike or of which one is a bar (66, IN) may be features of another
    kind: they are information, unless the sheet states `[relief] lone_marks = "judge"`. So are low
    bars as near each other as strokes (ill, II); one bar alone (I) is taken for a pad or a slot.

    Remedy: raise it, or give it a colour of its own.
    """
    yield from _heights(reliefs, sheet, raised=True)


@rule("relief/sunk-depth", measures="mm")
def sunk_depth(reliefs: Reliefs, sheet: Sheet) -> Iterator[Place | Note | LeftOut]:
    """Sunk lettering too shallow to be read.

    The value is the depth of the shallowest character below the face it is sunk into. What counts
    as lettering is told at relief/raised-height.

    Remedy: sink it deeper.
    """
    yield from _heights(reliefs, sheet, raised=False)
    yield from reliefs.enclosed


def _heights(reliefs: Reliefs, sheet: Sheet, *, raised: bool) -> Iterator[Place | Note | LeftOut]:
    word = "high" if raised else "deep"
    for one in reliefs.markings:
        worst = worst_of(one, reliefs.height_of)
        if one.raised == raised and worst is not None:
            shape, value = worst
            remark = (
                f"{said(one)}: the {'lowest' if raised else 'shallowest'} is {{:.4g}} mm {word}."
            )
            yield reliefs.told(one, value, shape, remark.format(value[0]))
    yield from reliefs.untold(raised=raised)
    every = sheet.lone_marks == "judge"
    kind = "raised" if raised else "sunk"
    for shape in reliefs.alone if every else reliefs.found.marks:
        if shape.raised != raised:
            continue
        remark = f"A {kind} mark {reliefs.height_of(shape)[0]:.4g} mm {word}."
        if every:
            yield reliefs.place(reliefs.height_of(shape), [shape], shape, remark)
        else:
            yield reliefs.note(
                [shape],
                f"{remark} Alone, it may be a letter or an arrow, or a feature of another kind.",
            )
    for group in () if every else reliefs.found.bars:
        if group[0].raised == raised:
            lowest = min(reliefs.height_of(shape)[0] for shape in group)
            yield reliefs.note(
                group,
                f"{len(group)} {kind} bars and dots, the lowest {lowest:.4g} mm {word}. They may "
                "be characters (ill, II, --), or ribs, slots and pads.",
            )


@rule("relief/stroke", measures="mm", claims=(*MATERIAL, *SPACE))
def stroke(reliefs: Reliefs) -> Iterator[Place | Claim]:
    """A raised stroke too thin to build or to survive cleaning.

    The value is the width of the narrowest stroke, across both of its sides at the cap; tips of
    serifs do not count.

    Remedy: use a bolder font, or larger characters.
    """
    yield from _strokes(reliefs, raised=True)


@rule("relief/groove", measures="mm", claims=(*MATERIAL, *SPACE, "drain/blind-depth"))
def groove(reliefs: Reliefs) -> Iterator[Place | Claim]:
    """A sunk stroke too narrow: it holds support, or its sides grow together.

    The value is the width of the narrowest stroke at its floor.

    Remedy: use a bolder font, or larger characters.
    """
    yield from _strokes(reliefs, raised=False)


def _strokes(reliefs: Reliefs, *, raised: bool) -> Iterator[Place | Claim]:
    for one in reliefs.markings:
        if one.raised != raised:
            continue
        worst = stroke_of(one)
        if worst is not None:
            shape, value = worst
            remark = f"{said(one)}: the narrowest stroke is {value[0]:.4g} mm wide."
            yield reliefs.told(one, value, shape, remark)
            yield reliefs.claim(one)


@rule("relief/stroke-share", measures="1")
def stroke_share_of_height(reliefs: Reliefs) -> Iterator[Place]:
    """Strokes too bold or too thin for the height of their characters.

    The value is the usual width of a stroke over the height of the line's tall characters.

    Remedy: choose another weight of the font.
    """
    for one in reliefs.inscriptions:
        share = stroke_share(one)
        if share is not None:
            shape, value = share
            remark = f"{said(one)}: the strokes are {value[0]:.3g} of that wide."
            yield reliefs.told(one, value, shape, remark)


@rule("relief/character-height", measures="mm")
def character_height(reliefs: Reliefs) -> Iterator[Place]:
    """Characters of the wrong size.

    The value is the height of the line's capitals, figures and ascenders (2010 ADA Standards
    703.2.5 measures a capital I); dots, accents, slashes and brackets do not count. Where no such
    character stands it is the height of the tallest ones. Which way up a line is cannot be known
    from shape: one letter with a long tail (Q, J) is taken for a capital among small letters, and
    the interval of the value then reaches down to the height of those.

    Remedy: scale the lettering.
    """
    for one in reliefs.inscriptions:
        low, high = one.character_height_interval
        value = (one.character_height, low, high)
        yield reliefs.told(one, value, one.shapes[0], f"{said(one)}.")


@rule("relief/counter", measures="mm")
def counter(reliefs: Reliefs) -> Iterator[Place]:
    """A closed space in a character too small to stay open.

    The value is the diameter of the largest circle that fits into it. (In sunk characters it is the
    post of material inside: too thin, it breaks off.)

    Remedy: use larger characters, or a font with wider counters.
    """
    for one in reliefs.inscriptions:
        worst = worst_of(one, narrowest_counter)
        if worst is not None:
            shape, value = worst
            kind = "closed space" if one.raised else "post inside a character"
            remark = f"{said(one)}: the narrowest {kind} is {value[0]:.4g} mm wide."
            yield reliefs.told(one, value, shape, remark)


@rule("relief/fragile", measures="1")
def fragile(reliefs: Reliefs) -> Iterator[Place]:
    """A raised stroke so high for its width that it breaks off.

    The value is height over width of the narrowest stroke.

    Remedy: lower the lettering, or use a bolder font.
    """
    for one in reliefs.inscriptions:
        worst = None
        if one.raised:
            worst = worst_of(one, lambda s: slenderness(s, reliefs.height_of(s)), largest=True)
        if worst is not None:
            shape, value = worst
            remark = f"{said(one)}: a stroke stands {value[0]:.3g} times its width high."
            yield reliefs.told(one, value, shape, remark)


@rule("relief/loose-glyph", measures="1")
def loose_glyph(reliefs: Reliefs, sheet: Sheet) -> Iterator[Place]:
    """Lettering that only touches what it stands on, and will fall off.

    The value is the number of islands that are a body of their own and reach into no other.

    Remedy: let the lettering overlap its base, or join both in the design.
    """
    for one in reliefs.markings:
        loose = [shape for shape in one.shapes if id(shape) in reliefs.loose]
        if loose:
            number = float(len(loose))
            remark = f"{said(one)}: {len(loose)} of {len(one.shapes)} pieces only touch their base."
            yield reliefs.told(one, (number, number, number), loose[0], remark, loose)
    if sheet.lone_marks == "judge":
        for shape in reliefs.alone:
            if id(shape) in reliefs.loose:
                yield reliefs.place(
                    (1.0, 1.0, 1.0), [shape], shape, "A mark only touches its base."
                )


@rule("relief/dot-base", measures="mm")
def dot_base(reliefs: Reliefs) -> Iterator[Place]:
    """Braille dots of the wrong width.

    The value is the diameter of a dot where it meets its base; the narrowest and the widest are
    told.

    Remedy: set the width of the dots at their base.
    """
    for one in reliefs.dots:
        values = [(s, (d[0], d[1], d[2])) for s, d in zip(one.shapes, one.diameter, strict=True)]
        for shape, value in extremes(values):
            remark = f"{len(one.shapes)} dots: one is {value[0]:.4g} mm wide at its base."
            yield reliefs.told(one, value, shape, remark, [shape])


@rule("relief/dot-height", measures="mm")
def dot_height(reliefs: Reliefs) -> Iterator[Place]:
    """Braille dots of the wrong height.

    The value is the height of a dot's top above its base; the lowest and the highest are told.

    Remedy: set the height of the dots.
    """
    for one in reliefs.dots:
        for shape, value in extremes([(s, reliefs.height_of(s)) for s in one.shapes]):
            remark = f"{len(one.shapes)} dots: one is {value[0]:.4g} mm high."
            yield reliefs.told(one, value, shape, remark, [shape])


@rule("relief/dot-spacing", measures="mm")
def dot_spacing(reliefs: Reliefs) -> Iterator[Place]:
    """Braille dots too near or too far from each other.

    The value is the distance between the middles of neighbouring dots of a cell, also where the
    nearest dots stand across a cell (e, i, o) or leave one out (k). Of dots on one line (aaa) it is
    the distance to the nearest.

    Remedy: set the pitch of the dots.
    """
    for one in reliefs.dots:
        values = []
        for shape, spacing in zip(one.shapes, one.spacing.tolist(), strict=True):
            blur = 2 * shape.blur + shape.measured.base.residual
            values.append((shape, (spacing, spacing - blur, spacing + blur)))
        for shape, value in extremes(values):
            remark = f"{len(one.shapes)} dots: two are {value[0]:.4g} mm apart."
            yield reliefs.told(one, value, shape, remark, [shape])


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [reliefs]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [
        raised_height,
        sunk_depth,
        stroke,
        groove,
        stroke_share_of_height,
        character_height,
        counter,
        fragile,
        loose_glyph,
        dot_base,
        dot_height,
        dot_spacing,
    ]
