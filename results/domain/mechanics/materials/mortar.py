"""Mortar prisms, and cubes turned into cylinder strengths by a named rule. N, mm, MPa."""

from __future__ import annotations

import numpy as np

from results.domain.mechanics.ranges import number

# EN 206, strength classes C f_ck,cyl / f_ck,cube (recalled, not re-read).
_CYLINDERS = (8, 12, 16, 20, 25, 30, 35, 40, 45, 50, 55, 60, 70, 80, 90, 100)
_CUBES = (10, 15, 20, 25, 30, 37, 45, 50, 55, 60, 67, 75, 85, 95, 105, 115)
EN_206_RULE = "straight between the pairs of strength classes of EN 206 (recalled, not re-read)"


def prism_flexural_strength(
    *, load_n: float, width_mm: float, height_mm: float, span_mm: float
) -> float:
    """Flexural strength of a prism in three-point bending, MPa: 1.5 F l/(b d²); EN 1015-11.

    Args:
        load_n: largest load.
        width_mm, height_mm: of the prism.
        span_mm: distance of the supports, 100 mm for the 160 mm prism.

    Raises:
        RangeError: an argument outside its range.
    """
    number("load_n", load_n, low=0.0, high=1e6, above=True, unit="N")
    number("width_mm", width_mm, low=20.0, high=100.0, unit="mm")
    number("height_mm", height_mm, low=20.0, high=100.0, unit="mm")
    number("span_mm", span_mm, low=50.0, high=400.0, unit="mm")
    return 1.5 * load_n * span_mm / (width_mm * height_mm**2)


def half_prism_strength(*, load_n: float, plate_mm: float, width_mm: float) -> float:
    """Compressive strength of half a prism between plates, MPa: F over plate times width.

    EN 1015-11: plates of 40 mm on a prism of 40 mm give 1600 mm².

    Raises:
        RangeError: an argument outside its range.
    """
    number("load_n", load_n, low=0.0, high=2e6, above=True, unit="N")
    number("plate_mm", plate_mm, low=20.0, high=100.0, unit="mm")
    number("width_mm", width_mm, low=20.0, high=100.0, unit="mm")
    return load_n / (plate_mm * width_mm)


def cylinder_from_cube(cube_mpa: float) -> float:
    """Cylinder strength that belongs to a cube strength, MPa, by :data:`EN_206_RULE`.

    Raises:
        RangeError: a cube strength outside 10 to 115 MPa.
    """
    number("cube_mpa", cube_mpa, low=float(_CUBES[0]), high=float(_CUBES[-1]), unit="MPa")
    return float(np.interp(cube_mpa, _CUBES, _CYLINDERS))
