"""Debonding strain of fibre in epoxy. It is not a rule for cement matrices."""

from __future__ import annotations

import math

from results.domain.mechanics.ranges import number


def epoxy_debonding_strain(
    *, strength_mpa: float, plies: int, modulus_mpa: float, ply_thickness_mm: float
) -> float:
    """0.41 √(f'c/(n Ef tf)) in SI; ACI 440.2R-08, Eq. (10-2).

    The US form 0.083 √(…) in psi and inches is :func:`epoxy_debonding_strain_us`; the two
    published coefficients differ by about 2 % and are never converted into each other.
    """
    number("strength_mpa", strength_mpa, low=5.0, high=200.0, unit="MPa")
    stiffness = plies * modulus_mpa * ply_thickness_mm
    number("plies × modulus × thickness", stiffness, low=100.0, high=1e7, unit="N/mm")
    return 0.41 * math.sqrt(strength_mpa / stiffness)


def epoxy_debonding_strain_us(
    *, strength_psi: float, plies: int, modulus_psi: float, ply_thickness_in: float
) -> float:
    """0.083 √(f'c/(n Ef tf)) with psi and inches; ACI 440.2R-08, Eq. (10-2)."""
    number("strength_psi", strength_psi, low=700.0, high=29_000.0, unit="psi")
    stiffness = plies * modulus_psi * ply_thickness_in
    number("plies × modulus × thickness", stiffness, low=500.0, high=6e7, unit="lbf/in")
    return 0.083 * math.sqrt(strength_psi / stiffness)
