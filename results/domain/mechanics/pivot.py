"""The ultimate strain plane of a section: which strain is reached first, and the curvature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.arrays import FloatArray, Numeric

_TINY = 1e-12


@dataclass(frozen=True)
class StrainLimit:
    """A depth, mm, and the tensile strain of the section there that ends the life of a part.

    For fabric the strain is the usable strain plus ε_bi at its lower end.
    """

    depth: Numeric
    strain: Numeric


def pivot_curvature(
    c: FloatArray, crushing_strain: Numeric, limits: tuple[StrainLimit, ...]
) -> tuple[FloatArray, FloatArray]:
    """Curvature at which the first limit is reached, and its derivative by c.

    Args:
        c: neutral-axis depth, mm, shape (n,).
        crushing_strain: of the top face, positive.
        limits: on the tension side.
    """
    curvature = crushing_strain / c
    rate = -1.0 / c
    for limit in limits:
        arm = np.maximum(limit.depth - c, _TINY)
        candidate = limit.strain / arm
        first = candidate < curvature
        curvature = np.where(first, candidate, curvature)
        rate = np.where(first, 1.0 / arm, rate)
    return curvature, curvature * rate
