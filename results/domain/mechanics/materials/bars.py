"""Tension tests of bars: modulus, offset yield, strength."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.materials.curve import curve
from results.domain.mechanics.ranges import number


@dataclass(frozen=True)
class BarTest:
    """One bar.

    Attributes:
        modulus_mpa: slope used for the offset.
        yield_mpa, yield_strain: where the offset line meets the curve.
        offset: of that line.
        strength_mpa, strength_strain: at the largest stress.
    """

    modulus_mpa: float
    yield_mpa: float
    yield_strain: float
    offset: float
    strength_mpa: float
    strength_strain: float

    @property
    def strength_ratio(self) -> float:
        """Strength / yield."""
        return self.strength_mpa / self.yield_mpa


def elastic_slope(
    strain: Sequence[float] | FloatArray,
    stress: Sequence[float] | FloatArray,
    *,
    low_mpa: float,
    high_mpa: float,
) -> float:
    """Least-squares slope of the rising curve between two stresses, MPa.

    Raises:
        RangeError: fewer than three points between them.
    """
    x, y = curve(strain, stress)
    number("low_mpa", low_mpa, low=0.0, high=high_mpa, unit="MPa")
    peak = int(np.argmax(y)) + 1
    inside = (y[:peak] >= low_mpa) & (y[:peak] <= high_mpa)
    if inside.sum() < 3:
        raise RangeError(
            "points between the two stresses", int(inside.sum()), "at least 3 for a slope"
        )
    return float(np.polyfit(x[:peak][inside], y[:peak][inside], 1)[0])


def bar_test(
    strain: Sequence[float] | FloatArray,
    stress: Sequence[float] | FloatArray,
    *,
    modulus_mpa: float = 200_000.0,
    offset: float = 0.002,
) -> BarTest:
    """Yield by the offset line E (ε − offset), and strength (ASTM A370, recalled, not re-read).

    Args:
        strain, stress: shape (n,), MPa.
        modulus_mpa: slope of the offset line: measured, or 200 GPa.
        offset: 0.002.

    Raises:
        ShapeError: columns that make no curve.
        RangeError: the curve ends before it meets the offset line.
    """
    x, y = curve(strain, stress)
    number("modulus_mpa", modulus_mpa, low=50_000.0, high=250_000.0, unit="MPa")
    number("offset", offset, low=1e-5, high=0.02)
    above = y - modulus_mpa * (x - offset)
    below = np.flatnonzero((above[:-1] > 0.0) & (above[1:] <= 0.0))
    if not len(below):
        raise RangeError(
            "largest strain", float(x.max()), f"a curve that meets the {offset:g} offset line"
        )
    i = int(below[0])
    share = above[i] / (above[i] - above[i + 1])
    peak = int(np.argmax(y))
    return BarTest(
        modulus_mpa,
        float(y[i] + share * (y[i + 1] - y[i])),
        float(x[i] + share * (x[i + 1] - x[i])),
        offset,
        float(y[peak]),
        float(x[peak]),
    )
