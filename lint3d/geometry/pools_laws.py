"""What do the laws of liquids say about an opening?

SI units inside, mm and mm3 at the border, as the names say. All of it holds for a liquid: molten
support above the temperature at which it congeals, not in a cooler bath. Guarded by
tests/outside/test_liquids.py.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

#: m/s2, standard gravity, CGPM 1901
GRAVITY = 9.80665
#: Bond number ρ g r²/γ below which a bubble does not rise in a wetted round tube that is sealed at
#: the top. F. P. Bretherton, J. Fluid Mech. 10 (1961) 166, doi:10.1017/S0022112061000160
BRETHERTON = 0.842
#: Discharge coefficient of a sharp-edged round orifice. Handbook value.
DISCHARGE = 0.62


@dataclass(frozen=True)
class Liquid:
    """A liquid with its constants at the temperature of cleaning."""

    density: float
    """kg/m3"""
    surface_tension: float
    """N/m"""
    viscosity: float | None = None
    """mm2/s, kinematic"""


def head_held_mm(liquid: Liquid, diameter_mm: float) -> float:
    """How high may the liquid stand above a wetted opening before it lets go? 4γ/(ρ g d).

    Examples
    --------
    >>> round(head_held_mm(Liquid(998.0, 0.072), 1.0), 1)
    29.4
    """
    if diameter_mm <= 0:
        return math.inf
    weight = liquid.density * GRAVITY * diameter_mm / 1000.0
    return 1000.0 * 4.0 * liquid.surface_tension / weight


def capillary_length_mm(liquid: Liquid) -> float:
    """√(γ/(ρ g))."""
    return 1000.0 * math.sqrt(liquid.surface_tension / (liquid.density * GRAVITY))


def self_venting_mm(liquid: Liquid) -> float:
    """Below which diameter does a single opening surely not empty? 2 √0.842 capillary lengths.

    Examples
    --------
    >>> round(self_venting_mm(Liquid(780.0, 0.026)), 1)
    3.4
    """
    return 2.0 * math.sqrt(BRETHERTON) * capillary_length_mm(liquid)


def empties_inertial_s(
    area_mm2: float, opening_mm2: float, head_mm: float, discharge: float = DISCHARGE
) -> float:
    """Seconds for a vessel of constant section to empty through an orifice (Torricelli)."""
    if opening_mm2 <= 0:
        return math.inf
    return area_mm2 / (discharge * opening_mm2) * math.sqrt(2.0 * head_mm / 1000.0 / GRAVITY)


def empties_laminar_s(
    liquid: Liquid, volume_mm3: float, diameter_mm: float, length_mm: float, head_mm: float
) -> float:
    """Seconds to empty a volume through a round duct under a steady head (Hagen–Poiseuille).

    Raises
    ------
    ValueError : the liquid has no viscosity
    """
    if liquid.viscosity is None:
        raise ValueError("A laminar time needs the liquid's viscosity; give it in the sheet.")
    if diameter_mm <= 0 or head_mm <= 0:
        return math.inf
    flow = (
        math.pi
        * GRAVITY
        * 1000.0
        * head_mm
        * diameter_mm**4
        / (128.0 * liquid.viscosity * max(length_mm, diameter_mm))
    )
    return volume_mm3 / flow


def empties_s(
    liquid: Liquid, volume_mm3: float, diameter_mm: float, length_mm: float, head_mm: float
) -> float:
    """Seconds to empty a pocket, a rough estimate: the slower of the two laws.

    Assumes a prism of the given volume and head, air let in freely, and a head that stays above
    what capillarity holds; `inf` where it does not.
    """
    if head_mm <= head_held_mm(liquid, diameter_mm):
        return math.inf
    opening = math.pi / 4.0 * diameter_mm**2
    inertial = empties_inertial_s(volume_mm3 / head_mm, opening, head_mm)
    if liquid.viscosity is None:
        return inertial
    # The head falls from full to none: half of it on average.
    laminar = empties_laminar_s(liquid, volume_mm3, diameter_mm, length_mm, head_mm / 2)
    return max(inertial, laminar)
