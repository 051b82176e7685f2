"""Members whose numbers are known from outside, shared by the checks of the mechanics.

BM-1: a beam 200 × 300 mm with three bars of 12 at 260 mm and a PBO fabric on its soffit. Its
expected values are exact for the stated rules, or came from an independent library.
"""

from __future__ import annotations

import math

from results.domain.mechanics.laws import BarSteel, FabricLaw
from results.domain.mechanics.section import BarLayer, FabricLayer, Section, bar_area, soffit_fabric
from results.domain.mechanics.shape import rectangle

STRENGTH = 30.0
MODULUS = 4700.0 * math.sqrt(STRENGTH)
STEEL = BarSteel(420.0)


def bm1_fabric(plies: int) -> FabricLayer:
    """Fabric P, 0.050 mm a ply, 128 GPa, usable strain 0.012, over the whole soffit."""
    return soffit_fabric(
        plies=plies,
        ply_thickness_mm=0.050,
        width_mm=200.0,
        depth_mm=300.0,
        law=FabricLaw(128_000.0),
        usable_strain=0.012,
    )


def bm1(plies: int) -> Section:
    """BM-1 with a number of plies, 0 for the control."""
    fabrics = (bm1_fabric(plies),) if plies else ()
    return Section(rectangle(200.0, 300.0), (BarLayer(bar_area(3, 12.0), 260.0, STEEL),), fabrics)
