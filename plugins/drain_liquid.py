"""What is the molten support of a sheet, and how long does a pocket take to drain?

Constants come from the sheet's `[liquid]` table. Everything here holds for a liquid: support above
the temperature at which it congeals. Lengths in mm, volumes in mm3. Guarded by
tests/plugins/test_drain.py and tests/outside/test_liquids.py.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from lint3d import NotApplicable, NotMeasurable, Sheet
from lint3d.geometry.pools_laws import Liquid, empties_s

if TYPE_CHECKING:
    from lint3d.geometry.voids_model import Pocket

#: The sheet's keys, with the unit that each must be in.
UNITS = {"density": "kg/m3", "surface_tension": "N/m", "viscosity": "mm2/s"}
#: Said beside every volume that stays.
WHILE_MOLTEN = "This is for molten support, as in steam or an oven, not in a cooler bath."
ASSUMED_DRAINING = (
    "Support fully molten, air let in freely, a prism as high as the largest ball in the pocket; "
    "the slower of Torricelli (coefficient 0.62) and Hagen-Poiseuille. Within a factor of a few."
)


def liquid_of(sheet: Sheet) -> Liquid:
    """The molten support of a sheet.

    Raises
    ------
    NotApplicable : the process has no support that melts
    NotMeasurable : a constant is missing, in another unit or no positive number
    """
    table = sheet.liquid
    if table is None:
        raise NotApplicable(
            f"The sheet '{sheet.name}' has no [liquid] table: no support that melts and runs out."
        )
    for key, unit in UNITS.items():
        if key not in table and key != "viscosity":
            raise NotMeasurable(
                f"The sheet '{sheet.name}' gives no {key} under [liquid]; add it in {unit}."
            )
        if key in table and table[key].unit != unit:
            raise NotMeasurable(
                f"The sheet '{sheet.name}' gives [liquid] {key} in {table[key].unit}; give it in "
                f"{unit}."
            )
        if key in table and not 0 < table[key].value < math.inf:
            raise NotMeasurable(
                f"[liquid] {key} of the sheet '{sheet.name}' must be above 0; it is "
                f"{table[key].value:g}."
            )
    viscosity = table["viscosity"].value if "viscosity" in table else None
    return Liquid(table["density"].value, table["surface_tension"].value, viscosity)


def draining(sheet: Sheet, pocket: Pocket) -> dict[str, Any]:
    """Facts about how long a pocket takes to drain; nothing if the sheet has no liquid for it."""
    try:
        liquid = liquid_of(sheet)
    except (NotApplicable, NotMeasurable):
        return {}
    throat = pocket.throat
    seconds = empties_s(liquid, pocket.volume, throat.diameter, throat.length, pocket.diameter)
    return {
        "draining_s": float(seconds) if math.isfinite(seconds) else None,
        "draining_assumes": ASSUMED_DRAINING,
    }
