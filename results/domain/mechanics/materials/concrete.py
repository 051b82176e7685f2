"""Cylinders, cubes, modulus, strength with time, maturity."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import convert
from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.materials.curve import curve, first_upward_crossing
from results.domain.mechanics.ranges import number

# ASTM C39, 8.2: length over diameter and factor; no correction from 1.75 up (recalled).
_RATIOS = (1.00, 1.25, 1.50, 1.75)
_FACTORS = (0.87, 0.93, 0.96, 0.98)


def slenderness_factor(ratio: float) -> float:
    """Correction of a cylinder's strength for L/D, 1 above 1.75, linear between the table's rows.

    ASTM C39, 8.2. At 1.75 itself the table gives 0.98.

    Raises:
        RangeError: L/D outside 1.00 to 2.50.
    """
    number("length / diameter", ratio, low=1.0, high=2.5)
    if ratio > _RATIOS[-1]:
        return 1.0
    return float(np.interp(ratio, _RATIOS, _FACTORS))


def cylinder_strength(*, load_n: float, diameter_mm: float, length_mm: float) -> float:
    """Compressive strength of a cylinder, MPa: 4 F/(π d²) times the factor for L/D.

    Raises:
        RangeError: an argument outside its range.
    """
    number("load_n", load_n, low=0.0, high=2e7, above=True, unit="N")
    number("diameter_mm", diameter_mm, low=25.0, high=500.0, unit="mm")
    number("length_mm", length_mm, low=25.0, high=1200.0, unit="mm")
    stress = 4.0 * load_n / (math.pi * diameter_mm**2)
    return stress * slenderness_factor(length_mm / diameter_mm)


def cube_strength(*, load_n: float, side_mm: float) -> float:
    """Compressive strength of a cube of concrete or mortar, MPa: F/a²."""
    number("load_n", load_n, low=0.0, high=2e7, above=True, unit="N")
    number("side_mm", side_mm, low=20.0, high=300.0, unit="mm")
    return load_n / side_mm**2


def modulus_si(strength_mpa: float) -> float:
    """Ec = 4700 √f'c, MPa; ACI 318-19, 19.2.2.1 in SI.

    Raises:
        RangeError: a strength outside 5 to 200 MPa, as a value in psi is.
    """
    number("strength_mpa", strength_mpa, low=5.0, high=200.0, unit="MPa")
    return 4700.0 * math.sqrt(strength_mpa)


def modulus_us(strength_psi: float) -> float:
    """Ec = 57 000 √f'c with psi, returned in MPa; ACI 318-19, 19.2.2.1 in US customary units.

    A form of its own: it is not :func:`modulus_si` converted.
    """
    number("strength_psi", strength_psi, low=700.0, high=29_000.0, unit="psi")
    return convert(57_000.0 * math.sqrt(strength_psi), "psi", "MPa")


def chord_modulus(
    strain: Sequence[float] | FloatArray, stress: Sequence[float] | FloatArray, strength_mpa: float
) -> float:
    """Chord from strain 50e-6 to 0.40 of the strength, MPa; ASTM C469 (recalled, not re-read).

    Args:
        strain, stress: compression as positive numbers, rising, shape (n,).
        strength_mpa: of companion cylinders.

    Raises:
        ShapeError, RangeError: a curve that does not hold both points.
    """
    x, y = curve(strain, stress)
    number("strength_mpa", strength_mpa, low=5.0, high=200.0, unit="MPa")
    high = 0.40 * strength_mpa
    end = first_upward_crossing(x, y, high)
    number("strain at 0.40 f'c", end, low=50e-6, high=0.01, above=True)
    start = float(np.interp(50e-6, x, y))
    return (high - start) / (end - 50e-6)


def strength_at_age(strength_28_mpa: float, age_days: float) -> float:
    """Strength at an age, MPa: f28 · t/(4 + 0.85 t); ACI 209R, moist cured, type I cement."""
    number("strength_28_mpa", strength_28_mpa, low=5.0, high=200.0, unit="MPa")
    return strength_28_mpa * age_factor(age_days)


def age_factor(age_days: float) -> float:
    """t/(4 + 0.85 t) of ACI 209R; 1.007 at 28 days."""
    number("age_days", age_days, low=0.0, high=36_500.0, unit="d")
    return age_days / (4.0 + 0.85 * age_days)


def maturity(intervals: Sequence[tuple[float, float]], *, datum_c: float) -> float:
    """Nurse–Saul temperature–time factor, °C·h; below the datum nothing is added (ASTM C1074).

    Args:
        intervals: (hours, mean temperature °C).
        datum_c: datum temperature of the mix, kept with it.
    """
    number("datum_c", datum_c, low=-20.0, high=20.0, unit="°C")
    total = 0.0
    for hours, temperature in intervals:
        number("hours", hours, low=0.0, high=1e6, unit="h")
        number("temperature_c", temperature, low=-60.0, high=150.0, unit="°C")
        total += hours * max(temperature - datum_c, 0.0)
    return total


def maturity_of_record(
    hours: Sequence[float] | FloatArray,
    temperature_c: Sequence[float] | FloatArray,
    *,
    datum_c: float,
) -> float:
    """The same from a logged temperature, straight between samples and cut at the datum exactly.

    Args:
        hours: rising times, h, shape (n,).
        temperature_c: shape (n,).
        datum_c: datum temperature of the mix.

    Raises:
        ShapeError: ``maturity.columns``, times that do not rise or columns of different length.
    """
    number("datum_c", datum_c, low=-20.0, high=20.0, unit="°C")
    time = np.asarray(hours, dtype=np.float64)
    above = np.asarray(temperature_c, dtype=np.float64) - datum_c
    if time.shape != above.shape or time.size < 2 or np.any(np.diff(time) <= 0.0):
        raise ShapeError(
            "maturity.columns",
            f"There are {time.size} times and {above.size} temperatures; allowed are columns of "
            "equal length, at least 2, with rising times.",
        )
    left, right, step = above[:-1], above[1:], np.diff(time)
    positive = np.maximum(left, 0.0) + np.maximum(right, 0.0)
    span = np.abs(left) + np.abs(right)
    # Where the line crosses the datum only its part above counts: a triangle.
    crosses = left * right < 0.0
    share = np.where(crosses, positive / np.where(span > 0.0, span, 1.0), 1.0)
    return float((0.5 * positive * share * step).sum())
