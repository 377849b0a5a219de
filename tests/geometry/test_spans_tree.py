"""Does the range query find every pair of facets that face each other within reach?"""

from __future__ import annotations

import manifold3d as m3
import numpy as np
import pytest
import shapes_walls as shapes

from lint3d.geometry.spans import Look, spans
from lint3d.geometry.spans_knife import knife_edges
from lint3d.geometry.spans_surface import surface_from_mesh
from lint3d.geometry.spans_tree import facing_pairs
from lint3d.geometry.spans_zoom import contacts_of

REACH = 1.25


@pytest.mark.parametrize(
    "make", [shapes.thin_box_cut_fine, shapes.tube, shapes.bores_crossed, shapes.ribs]
)
def test_no_straight_contact_is_missed(make: object) -> None:
    rng = np.random.default_rng(5)
    case = shapes.moved(make(rng), rng)  # type: ignore[operator]
    surface = surface_from_mesh(case.vertices, case.faces[:300])
    inward = -surface.normals
    first, second = np.triu_indices(len(surface.faces), 1)
    every = np.stack([first, second], axis=1)
    none = np.zeros(0, dtype=np.int64)
    contacts = contacts_of(surface, inward, knife_edges(surface, inward, False, none, 0.4), every)
    step = contacts.contact - contacts.point
    lean = np.einsum("ij,ij->i", inward[first], step) / np.maximum(contacts.distance, 1e-12)
    opposite = -np.einsum("ij,ij->i", inward[first], inward[second]) > np.cos(np.radians(20))
    # Contacts well within both facets, not where the two merely touch seen along the normal.
    inner = np.ones(len(every), dtype=bool)
    for facet, place in ((first, contacts.point), (second, contacts.contact)):
        own = surface.corners[facet]
        for side in range(3):
            turn = np.cross(own[:, (side + 1) % 3] - own[:, side], place - own[:, side])
            height = np.einsum("ij,ij->i", turn, surface.normals[facet])
            inner &= height > 1e-3 * surface.areas[facet]
    must = contacts.counts & opposite & inner & (lean > 0.9999)
    must &= (contacts.distance <= REACH) & ~contacts.knife
    pairs, complete = facing_pairs(surface.corners, inward, REACH)
    assert complete
    found = {tuple(pair) for pair in pairs.tolist()}
    assert {tuple(pair) for pair in every[must].tolist()} <= found


def test_a_sound_block_is_cleared_at_once() -> None:
    v, f = shapes.arrays(shapes.box([40, 30, 20]).refine_to_length(3.0))
    surface = surface_from_mesh(v, f)
    pairs, complete = facing_pairs(surface.corners, -surface.normals, REACH)
    assert complete
    assert len(pairs) == 0


def test_out_of_budget_is_told() -> None:
    v, f = shapes.arrays(shapes.box([40, 30, 0.5]).refine_to_length(3.0))
    surface = surface_from_mesh(v, f)
    assert facing_pairs(surface.corners, -surface.normals, REACH, budget=10)[1] is False


def test_one_facet_faces_nothing() -> None:
    corners = np.zeros((1, 3, 3))
    pairs, complete = facing_pairs(corners, np.zeros((1, 3)), REACH)
    assert pairs.shape == (0, 2)
    assert complete


@pytest.mark.parametrize("look", ["inward", "outward"])
@pytest.mark.further
def test_a_thin_wire_with_edges_may_be_cut_finely(look: Look) -> None:
    """Everything about a wire of eight flats was open: its sides are near each other all round."""
    section = m3.CrossSection.circle(0.25, 8).translate((4.06, 0))
    surface = surface_from_mesh(*shapes.arrays(m3.Manifold.revolve(section, 253).refine(4)))
    assert spans(surface, 0.6, 0.75, look).complete
