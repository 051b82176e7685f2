"""The two compression blocks, and the factors that describe them."""

from __future__ import annotations

from typing import Literal

import numpy as np

from results.domain.mechanics.arrays import FloatArray, Numeric
from results.domain.mechanics.ranges import number

BlockName = Literal["parabolic", "rectangular"]
BLOCKS: tuple[BlockName, ...] = ("parabolic", "rectangular")

PARABOLIC_SOURCE = "ACI 440.2R worked examples: ε'c = 1.7 f'c/Ec"
RECTANGULAR_SOURCE = "ACI 318, 22.2.2.4 (SI form)"


def beta1_rectangular(strength_mpa: Numeric) -> FloatArray:
    """β1 of the rectangular block: 0.85, falling 0.05 per 7 MPa above 28 MPa, at least 0.65.

    SI form of ACI 318, 22.2.2.4.3: the strength is in MPa.

    Raises:
        RangeError: a strength outside 5 to 200 MPa, which is what a value in psi looks like.
    """
    strength = np.asarray(strength_mpa, dtype=np.float64)
    for extreme in (float(strength.min()), float(strength.max())):
        number("strength_mpa", extreme, low=5.0, high=200.0, unit="MPa")
    return np.asarray(np.clip(0.85 - 0.05 * (strength - 28.0) / 7.0, 0.65, 0.85))


def parabola_factors(strain: float, strength_mpa: float, modulus_mpa: float) -> tuple[float, float]:
    """α1 and β1 of the rectangle that replaces a parabola reaching the given top strain.

    ε'c = 1.7 f'c/Ec, β1 = (4ε'c − εc)/(6ε'c − 2εc), α1 = (3ε'c εc − εc²)/(3 β1 ε'c²).
    Source: ACI 440.2R worked examples. They hold for a compression zone of constant width.

    Args:
        strain: compressive strain of the top face εc, mm/mm, positive.
        strength_mpa: f'c, MPa.
        modulus_mpa: Ec, MPa.

    Raises:
        RangeError: εc outside (0, 2ε'c], where the parabola is above zero.
    """
    peak = 1.7 * strength_mpa / modulus_mpa
    number("strain", strain, low=0.0, high=2.0 * peak, above=True)
    beta1 = (4.0 * peak - strain) / (6.0 * peak - 2.0 * strain)
    alpha1 = (3.0 * peak * strain - strain**2) / (3.0 * beta1 * peak**2)
    return alpha1, beta1
