"""Walls: is any place too thin, or too close to its neighbour, to build?

Thickness is the diameter of the largest ball that fits; a gap the same, in the void. What is thin
in one direction is a wall or a slot, what is thin both ways a rod or a hole, what tapers to
nothing a knife edge: each place is told by one rule. Only the body itself is looked at: gaps to
other bodies are assembly/clearance.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from lint3d import (
    Body,
    Interest,
    LeftOut,
    Measure,
    NotApplicable,
    NotMeasurable,
    Place,
    Rule,
    hookimpl,
    measure,
    rule,
)

if TYPE_CHECKING:
    from lint3d.geometry.spans import Look, Spans
    from lint3d.geometry.spans_regions import ThinRegion
    from lint3d.geometry.spans_sharp import SharpRegion
    from lint3d.geometry.spans_surface import SpanSurface


@dataclass(frozen=True, eq=False)
class Facing:
    """A body's surface made ready for spans; `left_out` says where none can be taken."""

    surface: SpanSurface
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, eq=False)
class Thickness:
    """Connected places within the range of interest, tightest first, one way round."""

    regions: tuple[ThinRegion, ...]
    spans: Spans
    left_out: tuple[LeftOut, ...]

    @property
    def high(self) -> float:
        """Everywhere else the span is at least so much, mm."""
        return self.spans.high


@dataclass(frozen=True, eq=False)
class KnifeEdges:
    """Places where the material tapers to nothing, deepest first."""

    regions: tuple[SharpRegion, ...]
    thinner_than: float
    left_out: tuple[LeftOut, ...]


@measure(unit="1")
def facing(body: Body) -> Facing:
    """The body's facets, made ready once for walls and for gaps."""
    from lint3d.geometry.spans_surface import surface_from_mesh

    if not any(shell.closed for shell in body.shells) and _is_loose(body):
        raise NotMeasurable(
            "Nothing of the body encloses material, so it has no thickness; solid/open-edge tells "
            "more."
        )
    surface = surface_from_mesh(body.vertices, body.faces)
    if len(surface.faces) == 0:
        raise NotMeasurable(
            "Every face lacks area or is doubled; solid/degenerate-face tells more."
        )
    return Facing(surface, tuple(_near_open_edges(body)))


@measure(unit="mm")
def spans(facing: Facing, interest: Interest) -> Thickness:
    """How thick is the material, at points spread over the surface?

    References
    ----------
    Thickness as the largest inscribed ball: Hildebrand & Rüegsegger, J. Microscopy 185 (1997) 67.
    """
    return _thickness(facing, interest, "inward")


@measure(unit="mm")
def gaps(facing: Facing, interest: Interest) -> Thickness:
    """How wide are the slots, holes and grooves in the body?"""
    return _thickness(facing, interest, "outward")


@measure(unit="mm", other_quantity=True)
def knife_edges(spans: Thickness) -> KnifeEdges:
    """Where does the material taper to nothing, and how deep is the strip that is too thin?"""
    from lint3d.geometry.spans_sharp import sharp_regions

    limit = spans.spans.low
    return KnifeEdges(tuple(sharp_regions(spans.spans, limit)), limit, spans.left_out)


@rule("walls/thin-wall", measures="mm")
def thin_wall(spans: Thickness) -> Iterator[Place]:
    """A wall too thin to build or to survive cleaning.

    The value is the diameter of the largest ball that fits into the wall at its thinnest. One
    result covers all that is thin and hangs together.

    Remedy: thicken the wall, or rib it.
    """
    yield from _places(spans, "wall")


@rule("walls/thin-rod", measures="mm")
def thin_rod(spans: Thickness) -> Iterator[Place]:
    """A pin, wire or strut too thin to build or to survive cleaning.

    Thin both ways: it breaks where a wall of the same thickness would hold.

    Remedy: thicken it, or shorten and support it.
    """
    yield from _places(spans, "rod")


@rule("walls/knife-edge", measures="mm")
def knife_edge(knife_edges: KnifeEdges) -> Iterator[Place]:
    """The material tapers to a knife edge.

    The value is the depth of the strip behind the edge that is thinner than a wall may be: it will
    be missing, ragged or broken off. An ordinary corner or a chamfer has no such strip.

    Remedy: round the edge off, or cut it back to where the wall is thick enough.
    """
    for region in knife_edges.regions:
        yield Place(
            region.depth,
            lower=region.lower,
            upper=region.upper,
            position=region.point,
            faces=region.faces,
            extent_mm=region.extent,
            distinct=True,
            remark=f"An edge of {region.angle:.3g}° over {region.length:.4g} mm: the strip thinner "
            f"than {knife_edges.thinner_than:g} mm is {region.depth:.3g} mm deep.",
            properties={
                "angle_deg": region.angle,
                "edge_length_mm": region.length,
                "thinner_than_mm": knife_edges.thinner_than,
            },
        )


@rule("walls/narrow-gap", measures="mm")
def narrow_gap(gaps: Thickness) -> Iterator[Place]:
    """A slot or groove so narrow that its sides may grow together, or support stays in it.

    The value is the diameter of the largest ball that fits between the sides.

    Remedy: widen it, or close it.
    """
    yield from _places(gaps, "wall")


@rule("walls/small-hole", measures="mm")
def small_hole(gaps: Thickness) -> Iterator[Place]:
    """A hole so small that it may close, or keep its support.

    The value is the diameter of the largest ball that passes: for a hole drawn as a polygon that is
    the width across its flats.

    Remedy: widen it, or leave it out and drill it after the build.
    """
    yield from _places(gaps, "rod")


def _thickness(facing: Facing, interest: Interest, look: Look) -> Thickness:
    from lint3d.geometry.spans import spans as measured_spans
    from lint3d.geometry.spans_regions import thin_regions

    if not interest.low > 0:
        raise NotApplicable("No rule that is on has a limit for it.")
    found = measured_spans(facing.surface, interest.low, interest.high, look)
    left_out = list(facing.left_out)
    if not found.complete:
        left_out.append(
            LeftOut(
                "The body has so many large facets close together that only samples could be "
                "looked at; simplify the mesh to have all of it measured."
            )
        )
    return Thickness(tuple(thin_regions(found)), found, tuple(left_out))


def _places(found: Thickness, kind: str) -> Iterator[Place]:
    """A place for each region of a kind; without one, what is known: nothing below the range."""
    regions = [region for region in found.regions if region.kind == kind]
    for region in regions:
        yield Place(
            region.value,
            lower=region.lower,
            upper=region.upper,
            position=(region.point + region.contact_point) / 2,
            faces=region.faces,
            extent_mm=region.extent,
            distinct=True,
            properties={
                "area_mm2": region.area,
                "axis": [float(x) for x in region.axis],
                "length_mm": region.length,
            },
        )
    if not regions:
        yield Place(found.high, is_lower_bound=True)


def _is_loose(body: Body) -> bool:
    """Has the body no extent in some direction, or no two faces that could face each other?"""
    box = np.ptp(body.vertices, axis=0) if len(body.vertices) else np.zeros(3)
    return bool(len(body.faces) < 4 or box.min() == 0)


def _near_open_edges(body: Body) -> Iterator[LeftOut]:
    """The faces round open edges: what is missing there could have faced them."""
    from lint3d.geometry.topology import open_edges

    if body.closed:
        return
    rim = np.zeros(len(body.vertices), bool)
    rim[open_edges(body.edges).place] = True
    faces = np.flatnonzero(rim[body.faces].any(axis=1))
    yield LeftOut(
        "The surface is open here, so what would lie across is not known; solid/open-edge tells "
        "more. The rest was measured.",
        faces=faces,
    )


@hookimpl
def lint3d_measures() -> list[Measure]:
    return [facing, spans, gaps, knife_edges]


@hookimpl
def lint3d_rules() -> list[Rule]:
    return [thin_wall, thin_rod, knife_edge, narrow_gap, small_hole]
