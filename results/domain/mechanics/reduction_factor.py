"""Strength reduction factor φ of flexure, by edition."""

from __future__ import annotations

from typing import Literal

from results.domain.mechanics.ranges import choice, number

PhiEdition = Literal["aci440-2r", "aci318-19"]
PHI_EDITIONS: tuple[PhiEdition, ...] = ("aci440-2r", "aci318-19")

PHI_SOURCES: dict[PhiEdition, str] = {
    "aci440-2r": "ACI 440.2R, 10.2.7: 0.90 from εt 0.005 (as ACI 318-14)",
    "aci318-19": "ACI 318-19, Table 21.2.2: 0.90 from εty + 0.003",
}


def strength_reduction(
    tension_strain: float, yield_strain: float, edition: PhiEdition = "aci440-2r"
) -> float:
    """φ between 0.65 and 0.90, linear in the strain of the extreme tension bar.

    Args:
        tension_strain: εt of the extreme tension bar at nominal strength, mm/mm.
        yield_strain: fy/Es, mm/mm.
        edition: ``aci440-2r`` ends the transition at 0.005, ``aci318-19`` at εty + 0.003.

    Raises:
        ShapeError: an edition that is not known.
        RangeError: a yield strain outside 0.0005 to 0.0049.
    """
    choice("edition", edition, PHI_EDITIONS)
    number("yield_strain", yield_strain, low=0.0005, high=0.0049)
    end = 0.005 if edition == "aci440-2r" else yield_strain + 0.003
    share = (tension_strain - yield_strain) / (end - yield_strain)
    return 0.65 + 0.25 * min(max(share, 0.0), 1.0)
