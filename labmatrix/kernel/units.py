"""The one conversion module. Everything inside is in base units; conversion is at the edges.

Base units (kept in the database and in JSON): kN, mm, MPa, kN·m, kN/mm, kN·mm, 1/mm, mm/mm, °C,
% RH, Hz, s, 1. Mechanics works in N, mm, MPa and N·mm and converts at its own door.
A temperature difference is a unit of its own (``delta_degC``), so that 9 °F of warming is 5 °C
of warming and not -12.8 °C.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import pint

from labmatrix.kernel.errors import ShapeError


@dataclass(frozen=True)
class Dimension:
    """One kind of quantity: its base unit and the units that people may write."""

    name: str
    base: str
    allowed: tuple[str, ...]


_DIMENSIONS = (
    Dimension("force", "kN", ("kN", "N", "MN", "lbf", "kip", "kgf", "tf")),
    Dimension("length", "mm", ("mm", "µm", "cm", "m", "in", "ft")),
    Dimension("stress", "MPa", ("MPa", "Pa", "kPa", "GPa", "psi", "ksi", "N/mm²")),
    Dimension("moment", "kN·m", ("kN·m", "N·mm", "N·m", "kip·ft", "kip·in", "lbf·ft")),
    Dimension("stiffness", "kN/mm", ("kN/mm", "N/mm", "kip/in", "lbf/in")),
    Dimension("energy", "kN·mm", ("kN·mm", "J", "kJ", "kip·in")),
    Dimension("curvature", "1/mm", ("1/mm", "1/m", "1/in")),
    Dimension("strain", "mm/mm", ("mm/mm", "µm/m", "‰", "%", "in/in")),
    Dimension("temperature", "°C", ("°C", "°F", "K")),
    Dimension("temperature difference", "Δ°C", ("Δ°C", "Δ°F")),
    Dimension("humidity", "% RH", ("% RH",)),
    Dimension("frequency", "Hz", ("Hz", "1/min")),
    Dimension("time", "s", ("s", "ms", "min", "h", "d", "wk")),
    Dimension("area", "mm²", ("mm²", "cm²", "in²")),
    Dimension("number", "1", ("1",)),
)
DIMENSIONS: Mapping[str, Dimension] = MappingProxyType({d.name: d for d in _DIMENSIONS})

# How people and loggers spell units, beside the allowed spelling itself.
_SPELLINGS: Mapping[str, str] = MappingProxyType(
    {
        "kn": "kN", "n": "N", "lbs": "lbf", "kips": "kip", "um": "µm", "μm": "µm", "inch": "in",
        "mpa": "MPa", "N/mm2": "N/mm²", "kNm": "kN·m", "kN.m": "kN·m", "kN*m": "kN·m",
        "kN*mm": "kN·mm", "kN.mm": "kN·mm", "kNmm": "kN·mm", "um/m": "µm/m", "μm/m": "µm/m",
        "µε": "µm/m", "με": "µm/m", "ustrain": "µm/m", "microstrain": "µm/m", "µstrain": "µm/m",
        "strain": "mm/mm", "m/m": "mm/mm", "degC": "°C", "C": "°C", "degF": "°F", "F": "°F",
        "%RH": "% RH", "rH%": "% RH", "% r.H.": "% RH", "sec": "s", "seconds": "s", "S": "s",
        "days": "d", "day": "d", "weeks": "wk", "hours": "h", "mm2": "mm²", "-": "1", "": "1",
        "count": "1", "cycles": "1", "plies": "1", "ply": "1", "kip-ft": "kip·ft", "HZ": "Hz",
        "hz": "Hz",
        "sqin": "in²", "in2": "in²",
    }
)  # fmt: skip
# Our spelling -> what the unit library reads.
_LIBRARY: Mapping[str, str] = MappingProxyType(
    {
        "kip": "kip", "tf": "tonne*g_0", "N/mm²": "N/mm**2", "kN·m": "kN*m", "N·mm": "N*mm",
        "N·m": "N*m", "kN·mm": "kN*mm", "kip·ft": "kip*ft", "kip·in": "kip*in",
        "lbf·ft": "lbf*ft", "µm/m": "µm/m", "‰": "mm/m", "%": "cm/m", "°C": "degC", "°F": "degF",
        "K": "kelvin", "Δ°C": "delta_degC", "Δ°F": "delta_degF", "% RH": "percent",
        "1/min": "1/min", "d": "day", "wk": "week", "mm²": "mm**2", "cm²": "cm**2",
        "in²": "inch**2", "in": "inch", "1": "dimensionless", "ft": "foot",
    }
)  # fmt: skip


@lru_cache(maxsize=1)
def _registry() -> Any:
    return pint.UnitRegistry(cache_folder=None)


def unit_spelled(text: str) -> str:
    """Our spelling of a unit that a person or a logger wrote; the text itself if unknown."""
    stripped = text.strip().strip("[]()")
    return _SPELLINGS.get(stripped, stripped)


def dimension_of(unit: str) -> Dimension:
    """The dimension whose base or allowed units hold this one.

    A kip·in measures a moment or an energy; alone it is taken for a moment, and ``conversion``
    takes it as what the other unit measures.

    Raises:
        ShapeError: ``unit.unknown``.
    """
    found = _dimensions_of(unit_spelled(unit))
    if found:
        return found[0]
    raise ShapeError(
        "unit.unknown",
        f"The unit {unit!r} is not known; known are "
        + ", ".join(sorted({u for d in _DIMENSIONS for u in (d.base, *d.allowed)}))
        + ".",
        unit=unit,
    )


def _dimensions_of(spelled: str) -> list[Dimension]:
    return [d for d in _DIMENSIONS if spelled == d.base or spelled in d.allowed]


@lru_cache(maxsize=512)
def conversion(source: str, target: str) -> tuple[float, float]:
    """Factor and offset with ``value_in_target = value_in_source * factor + offset``.

    Raises:
        ShapeError: ``unit.unknown``, or ``unit.mismatch`` for two different dimensions.
    """
    source, target = unit_spelled(source), unit_spelled(target)
    if source == target:
        dimension_of(source)
        return 1.0, 0.0
    have, want = dimension_of(source), dimension_of(target)
    if not any(target == d.base or target in d.allowed for d in _dimensions_of(source)):
        raise ShapeError(
            "unit.mismatch",
            f"{source} measures {have.name} and cannot become {target}, which measures "
            f"{want.name}.",
            source=source,
            target=target,
        )
    registry = _registry()
    unit_from = registry.Unit(_LIBRARY.get(source, source))
    unit_to = registry.Unit(_LIBRARY.get(target, target))
    at_zero = float(registry.Quantity(0.0, unit_from).to(unit_to).magnitude)
    at_one = float(registry.Quantity(1.0, unit_from).to(unit_to).magnitude)
    if at_zero == 0.0:
        return at_one, 0.0
    # Only temperatures have an offset; a long lever keeps the factor exact.
    at_far = float(registry.Quantity(9000.0, unit_from).to(unit_to).magnitude)
    return (at_far - at_zero) / 9000.0, at_zero


def convert(value: float, source: str, target: str) -> float:
    """A value in another unit of the same dimension.

    Raises:
        ShapeError: ``unit.unknown`` or ``unit.mismatch``.
    """
    factor, offset = conversion(source, target)
    return value * factor + offset


def to_base(value: float, unit: str) -> float:
    """A value in the base unit of its dimension (kN, mm, MPa, …)."""
    return convert(value, unit, dimension_of(unit).base)


def quantity(value: float, unit: str) -> dict[str, Any]:
    """The JSON shape of a number: {"value": …, "unit": …}, the unit in our spelling."""
    return {"value": value, "unit": unit_spelled(unit)}
