"""Outlines with and without a neck, by closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from lint3d.geometry.rods_necks import has_neck


def around(radius, count=48, middle=(0.0, 0.0), first=0.0, last=2 * np.pi):
    turn = np.linspace(first, last, count, endpoint=False)
    return np.asarray(middle) + radius * np.column_stack([np.cos(turn), np.sin(turn)])


def keyhole(bore, neck, bulb, apart):
    """A bore, and a bulb that a slot joins to it."""
    turn = np.arcsin(neck / 2 / bore), np.arcsin(neck / 2 / bulb)
    large = around(bore, 60, (0, 0), turn[0], 2 * np.pi - turn[0])
    small = around(bulb, 40, (apart, 0), -np.pi + turn[1], np.pi - turn[1])
    return np.concatenate([large, small])


def star(points, inner):
    turn = np.pi * np.arange(2 * points) / points
    away = np.where(np.arange(2 * points) % 2 == 0, 1.0, inner)
    return away[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])


def asked(corners, width, seed=0):
    rng = np.random.default_rng(seed)
    turned = Rotation.from_euler("z", rng.uniform(0, 7)).as_matrix()[:2, :2]
    corners = corners @ turned + rng.uniform(-50, 50, 2)
    ends = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    flipped = rng.random(len(ends)) < 0.5
    ends[flipped] = ends[flipped, ::-1]
    return has_neck(rng.permutation(ends), width)


@settings(max_examples=30, deadline=None)
@given(st.integers(3, 9), st.floats(0.3, 0.95), st.integers(0, 9999))
def test_a_star_has_none(points, inner, seed):
    assert not asked(star(points, inner), inner, seed)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.1, 0.85), st.floats(0.2, 0.9), st.integers(0, 9999))
def test_a_bulb_behind_a_slot_has_one(share, bulb, seed):
    neck = 2 * share * bulb
    assert asked(keyhole(1.0, neck, bulb, 1.3 + bulb), neck, seed)


def test_the_bore_before_a_bulb_has_one_too():
    """The bore's own width says nothing of what opens behind a slot."""
    assert asked(keyhole(1.0, 0.25, 0.3, 1.4), 2.0)


@pytest.mark.parametrize("flats", [3, 4, 7, 48])
def test_what_bulges_has_none(flats):
    assert not asked(around(1.0, flats), 1.0)


def test_a_slot_as_wide_all_along_has_none():
    right = around(0.5, 24, (2, 0), -np.pi / 2, np.pi / 2)
    slot = np.concatenate([right, -right])
    assert not asked(slot, 1.0)


def test_an_open_line_is_not_known():
    corners = around(1.0, 12)
    ends = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    assert has_neck(ends[:-1], 1.0)
