"""What unit a person is shown: the base unit, or its US customary neighbour.

Conversion itself is in ``labmatrix.kernel.units``; this says only which unit is meant.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from labmatrix.kernel.units import conversion, dimension_of, unit_spelled

SI = "SI"
US_CUSTOMARY = "US customary"
SYSTEMS = (SI, US_CUSTOMARY)

_US: Mapping[str, str] = MappingProxyType(
    {
        "force": "kip",
        "length": "in",
        "stress": "ksi",
        "moment": "kip·ft",
        "stiffness": "kip/in",
        "energy": "kip·in",
        "curvature": "1/in",
        "temperature": "°F",
        "temperature difference": "Δ°F",
        "area": "in²",
    }
)


def unit_shown(unit: str, system: str) -> str:
    """The unit in which a person of this system is shown a quantity kept in ``unit``.

    Raises:
        ShapeError: ``unit.unknown``.
    """
    dimension = dimension_of(unit)
    return (
        _US.get(dimension.name, unit_spelled(unit))
        if system == US_CUSTOMARY
        else unit_spelled(unit)
    )


def value_shown(value: float, unit: str, system: str) -> float:
    """The value in the unit of ``unit_shown``; untouched where the unit stays.

    Raises:
        ShapeError: ``unit.unknown``.
    """
    target = unit_shown(unit, system)
    if target == unit_spelled(unit):
        return value
    factor, offset = conversion(unit, target)
    return value * factor + offset


def spread_shown(u: float, unit: str, system: str) -> float:
    """A standard uncertainty in the unit of ``unit_shown``: scaled, never shifted.

    Raises:
        ShapeError: ``unit.unknown``.
    """
    target = unit_shown(unit, system)
    if target == unit_spelled(unit):
        return u
    return u * conversion(unit, target)[0]
