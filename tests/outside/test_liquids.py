"""Do the liquid laws give the handbook's numbers?"""

from __future__ import annotations

import math

import pytest

from lint3d.geometry.pools_laws import (
    GRAVITY,
    Liquid,
    capillary_length_mm,
    empties_inertial_s,
    empties_laminar_s,
    empties_s,
    head_held_mm,
    self_venting_mm,
)

WATER = Liquid(density=998.0, surface_tension=0.072, viscosity=1.0)
ISOPROPANOL = Liquid(density=789.0, surface_tension=0.022)
# Density: common practice, no source. Surface tension: from memory. Viscosity: PMC9260780, table 1.
WAX = Liquid(density=780.0, surface_tension=0.026, viscosity=6.5)


def test_head_held_by_a_hole_of_1_mm() -> None:
    """Retention in open tubes: Langmuir 2017, 33, 12903 (capillary pressure 4γ/d)."""
    assert head_held_mm(WATER, 1.0) == pytest.approx(29.4, abs=0.05)
    assert head_held_mm(ISOPROPANOL, 1.0) == pytest.approx(11.4, abs=0.05)


def test_capillary_rise_by_jurin() -> None:
    """Jurin's law, worked example: water, γ 0.0728 N/m, r = 0.5 mm: 29.7 mm."""
    assert head_held_mm(Liquid(998.0, 0.0728), 1.0) == pytest.approx(29.7, abs=0.06)


def test_sealed_tube_by_bretherton() -> None:
    """ρ g r²/γ < 0.842: water stays below r = 2.49 mm. J. Fluid Mech. 10 (1961) 166."""
    assert self_venting_mm(WATER) / 2 == pytest.approx(2.49, abs=0.005)
    radius = self_venting_mm(WATER) / 2000.0
    assert 998.0 * GRAVITY * radius**2 / 0.072 == pytest.approx(0.842)
    # This project's own derivation of the sheet's limit for wax: 3.4 mm, and twice that.
    assert self_venting_mm(WAX) == pytest.approx(3.4, abs=0.05)
    assert self_venting_mm(WAX) == pytest.approx(2 * 0.918 * capillary_length_mm(WAX), rel=1e-3)


def test_emptying_by_torricelli() -> None:
    """Worked example: A = 1 m², a = 0.01 m², h = 2 m, C_d = 0.62: 102.99 s (g = 9.81)."""
    assert empties_inertial_s(1e6, 1e4, 2000.0) == pytest.approx(102.99, abs=0.05)


def test_laminar_flow_by_poiseuille() -> None:
    """Q = π d⁴ Δp/(128 μ L): water, 1 mm bore, 100 mm long, 100 mm head: 0.241 mL/s. Textbook."""
    pressure, viscosity = 998.0 * GRAVITY * 0.1, 998.0e-6
    flow = math.pi * 0.001**4 * pressure / (128 * viscosity * 0.1)
    assert empties_laminar_s(WATER, 1e9 * flow, 1.0, 100.0, 100.0) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="viscosity"):
        empties_laminar_s(ISOPROPANOL, 1.0, 1.0, 1.0, 1.0)


def test_what_is_held_never_empties() -> None:
    assert empties_s(WATER, 1000.0, 1.0, 2.0, 20.0) == math.inf
    assert empties_s(WATER, 1000.0, 1.0, 2.0, 60.0) < 60.0
    assert head_held_mm(WATER, 0.0) == math.inf
