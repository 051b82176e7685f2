"""Shapes of what people write about machines, sensors and regimes, each refused in a sentence."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from labmatrix.evidence.domain.channel_map import DIMENSION_OF_QUANTITY
from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.kernel.units import DIMENSIONS, dimension_of, unit_spelled

PERFORMANCE_NAMES = ("amplitude_mm", "frequency_hz", "load_kn")
PERFORMANCE_SHAPE = (
    "dynamic_performance is {raw!r}; allowed is a list of objects with amplitude_mm, frequency_hz "
    "and, where known, load_kn, each a number above zero."
)
SETTINGS_SHAPE = (
    "settings holds {name!r} as {value!r}; allowed are names in small letters with underscores, "
    "ending in their unit, with a number, a text, true or false."
)
QUANTITY_UNKNOWN = "quantity is {quantity!r}; allowed is {allowed}."
UNIT_MISFIT = "unit is {unit!r}, which measures {found}; {quantity} is measured in {allowed}."
_SETTING_NAME = re.compile(r"^[a-z][a-z0-9_]{0,39}\Z")
_MOST = 1e12


def check_text(text: object, *, argument: str, at_most: int, empty: bool = False) -> str:
    """The text without white space around it.

    Raises:
        ShapeError: ``input.text`` when it is no text, too long, or empty where that is not
            allowed.
    """
    check_storable(text, argument=argument)
    stripped = text.strip() if isinstance(text, str) else None
    if stripped is None or len(stripped) > at_most or not (stripped or empty):
        least = 0 if empty else 1
        shown = repr(text)
        raise ShapeError(
            "input.text",
            f"{argument} is {shown if len(shown) <= 80 else shown[:80] + ' …'}; allowed is a text "
            f"of {least} to {at_most} characters.",
            argument=argument,
        )
    return stripped


def check_number(
    value: object, *, argument: str, least: float = -_MOST, most: float = _MOST
) -> float:
    """A finite number within limits, as a float.

    Raises:
        RangeError: it is none, or outside.
    """
    allowed = f"a number from {least:g} to {most:g}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise RangeError(argument, str(value)[:80], allowed)
    if not least <= value <= most:
        raise RangeError(argument, str(value)[:80], allowed)
    return float(value)


def check_measures(quantity: object, unit: object) -> tuple[str, str]:
    """A sensor's quantity and its unit in our spelling.

    Raises:
        ShapeError: ``sensor.quantity``, ``unit.unknown`` or ``sensor.unit``.
    """
    wanted = DIMENSION_OF_QUANTITY.get(quantity) if isinstance(quantity, str) else None
    if wanted is None or not isinstance(quantity, str):
        raise ShapeError(
            "sensor.quantity",
            QUANTITY_UNKNOWN.format(
                quantity=quantity, allowed=", ".join(sorted(DIMENSION_OF_QUANTITY))
            ),
        )
    text = check_text(unit, argument="unit", at_most=20)
    found = dimension_of(text)
    if found.name != wanted:
        raise ShapeError(
            "sensor.unit",
            UNIT_MISFIT.format(
                unit=text,
                found=found.name,
                quantity=quantity,
                allowed=", ".join(DIMENSIONS[wanted].allowed),
            ),
        )
    return quantity, unit_spelled(text)


def check_performance(raw: object) -> list[dict[str, float]] | None:
    """Measured points of a cycling rig; None and an empty list both mean that none are known.

    Raises:
        ShapeError: ``machine.performance``.
    """
    if raw is None:
        return None
    check_storable(raw, argument="dynamic_performance")
    points = raw if isinstance(raw, list) else [raw]
    return [_point(point) for point in points] or None


def _point(raw: object) -> dict[str, float]:
    if not isinstance(raw, Mapping) or not _is_point(raw):
        raise ShapeError("machine.performance", PERFORMANCE_SHAPE.format(raw=raw))
    return {name: float(raw[name]) for name in PERFORMANCE_NAMES if name in raw}


def _is_point(point: Mapping[Any, Any]) -> bool:
    names = set(point)
    if not {"amplitude_mm", "frequency_hz"} <= names or names - set(PERFORMANCE_NAMES):
        return False
    return all(
        isinstance(v, int | float) and not isinstance(v, bool) and 0 < v <= _MOST
        for v in point.values()
    )


def check_settings(raw: object) -> dict[str, Any]:
    """A regime's settings.

    Raises:
        ShapeError: ``regime.settings``.
    """
    check_storable(raw, argument="settings")
    if not isinstance(raw, Mapping):
        raise ShapeError("regime.settings", SETTINGS_SHAPE.format(name="settings", value=raw))
    for name, value in raw.items():
        if not _SETTING_NAME.match(str(name)) or not _is_setting(value):
            raise ShapeError("regime.settings", SETTINGS_SHAPE.format(name=name, value=value))
    return dict(raw)


def _is_setting(value: object) -> bool:
    if isinstance(value, bool):
        return True
    if isinstance(value, str):
        return len(value) <= 400
    return isinstance(value, int | float) and math.isfinite(value) and abs(value) <= _MOST
