"""An error that a sensor is assumed to have had, and what a reduction takes in without it.

Convention: ``showed = factor · true + offset``. A load cell that showed 1 % too much has the
factor 1.01; one that showed 0.2 kN with nothing on it has the offset 0.2 kN. Both are of the
reading, before the factor of its calibration, so that the value becomes

    sign · scale · calibration factor · (reading − offset − zero) / factor

Where the channel map zeroes a channel on the record's own first readings, the offset is in the
zero as well and drops out.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.kernel.units import conversion, dimension_of, unit_spelled

FACTOR_LEAST: Final = 0.5
FACTOR_MOST: Final = 2.0
OFFSET_MOST: Final = 1e9
NO_ERROR: Final = (
    "A factor of 1 and no offset is no error and changes nothing; give what the sensor showed for "
    "a true 1, or an offset."
)
NO_UNIT: Final = "The offset {offset:g} has no unit; give one, such as kN or mm."
WITHOUT_NUMBERS: Final = ("temperature", "humidity")
NOT_IN_NUMBERS: Final = (
    "{sensor} measures {quantity}, which enters no number; allowed are sensors of load, "
    "deflection, settlement, strain and whatever else a number is read off."
)


@dataclass(frozen=True)
class AssumedError:
    """``showed = factor · true + offset`` of one sensor.

    Attributes:
        sensor: its serial.
        factor: what it showed for a true 1, no unit; 1.01 for 1 % too much.
        offset: what it showed with nothing on it, in ``unit``.
        unit: of the offset; empty without one.
    """

    sensor: str
    factor: float = 1.0
    offset: float = 0.0
    unit: str = ""

    @property
    def is_none(self) -> bool:
        """Whether nothing is assumed."""
        return self.factor == 1.0 and self.offset == 0.0

    def taken_back(self) -> AssumedError:
        """The error that, assumed on top of this one, gives the numbers as they were."""
        return AssumedError(self.sensor, 1.0 / self.factor, -self.offset, self.unit)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "sensor": self.sensor,
            "factor": self.factor,
            "offset": self.offset,
            "unit": self.unit,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> AssumedError:
        """From what ``as_dict`` gave; numbers may have become whole."""
        factor, offset = float(data["factor"]), float(data["offset"])
        return cls(data["sensor"], factor, offset, data["unit"])


def check_error(error: AssumedError) -> AssumedError:
    """The error with the unit in our spelling, if it can be assumed.

    Raises:
        ShapeError: ``what-if.no-error``, ``what-if.unit``, ``unit.unknown``.
        RangeError: a factor or offset beyond all sense.
    """
    if not FACTOR_LEAST <= error.factor <= FACTOR_MOST:
        raise RangeError("factor", error.factor, f"{FACTOR_LEAST:g} to {FACTOR_MOST:g}")
    if not (math.isfinite(error.offset) and abs(error.offset) <= OFFSET_MOST):
        raise RangeError("offset", error.offset, "-1e9 to 1e9")
    if error.is_none:
        raise ShapeError("what-if.no-error", NO_ERROR)
    if error.offset == 0.0:
        return AssumedError(error.sensor, error.factor)
    if not error.unit.strip():
        raise ShapeError("what-if.unit", NO_UNIT.format(offset=error.offset))
    dimension_of(error.unit)
    return AssumedError(error.sensor, error.factor, error.offset, unit_spelled(error.unit))


def check_measures(error: AssumedError, quantity: str, unit: str) -> None:
    """Refuse an error that a sensor of this quantity and unit cannot have.

    Raises:
        ShapeError: ``what-if.quantity``, or ``unit.mismatch`` for the offset.
    """
    if quantity in WITHOUT_NUMBERS:
        words = NOT_IN_NUMBERS.format(sensor=error.sensor, quantity=quantity)
        raise ShapeError("what-if.quantity", words, sensor=error.sensor, quantity=quantity)
    if error.offset:
        conversion(error.unit, unit)


def error_said(error: AssumedError) -> str:
    """The assumption in words: ``QL-1 showed 1 % too much and 0.2 kN with nothing on it``."""
    parts = []
    if error.factor != 1.0:
        # 1.01 is not exactly one and a hundredth in binary; ten digits hide that.
        percent = 100.0 * (error.factor - 1.0)
        parts.append(f"{abs(percent):.10g} % too {'much' if percent > 0 else 'little'}")
    if error.offset:
        parts.append(f"{error.offset:.10g} {error.unit} with nothing on it".replace("-", "\u2212"))
    return f"{error.sensor} showed {' and '.join(parts)}"


def assumed_inputs(inputs: Mapping[str, Any], errors: Sequence[AssumedError]) -> dict[str, Any]:
    """The inputs of a reduction with the errors taken out of the readings.

    The factor goes into the calibration of the sensor, the offset into the zero of its channels;
    both are where the one way to numbers takes them from. Nothing else is touched: without an
    error the inputs are equal, and with them the key.

    Args:
        inputs: as a reduction has them; not changed.
        errors: one at most for each sensor.

    Raises:
        ShapeError: ``unit.mismatch``, where an offset is of another kind than its channel.
    """
    by_sensor = {error.sensor: error for error in errors if not error.is_none}
    entries = [
        _without_offset(entry, by_sensor[entry["sensor"]])
        if entry.get("sensor") in by_sensor
        else entry
        for entry in inputs["channel_map"]["entries"]
    ]
    named = {entry.get("sensor") for entry in entries}
    calibrations = list(inputs["calibrations"])
    for sensor, error in sorted(by_sensor.items()):
        if sensor in named and error.factor != 1.0:
            calibrations = _without_factor(calibrations, error)
    return {
        **inputs,
        "channel_map": {**inputs["channel_map"], "entries": entries},
        "calibrations": calibrations,
    }


def _without_factor(
    calibrations: Sequence[Mapping[str, Any]], error: AssumedError
) -> list[Mapping[str, Any]]:
    """The calibrations in force, that of the sensor divided by the factor."""
    own = [one for one in calibrations if one["sensor"] == error.sensor]
    others = [one for one in calibrations if one["sensor"] != error.sensor]
    before: Mapping[str, Any] = own[0] if own else {"sensor": error.sensor, "known": False}
    factor = float(before.get("factor", 1.0)) / error.factor
    after = {**_UNCALIBRATED, **before, "factor": factor}
    return sorted([*others, after], key=lambda one: str(one["sensor"]))


# What a calibration says that nobody made: nothing but the factor that is assumed.
_UNCALIBRATED: Final[Mapping[str, Any]] = {
    "zero": 0.0,
    "u_relative": 0.0,
    "u_absolute": 0.0,
    "certificate": "not calibrated",
}


def offset_drops_out(entry: Mapping[str, Any]) -> bool:
    """Whether an offset is in the zero of a channel as well, so that it changes nothing."""
    return isinstance(entry["zero"], Mapping) or entry["quantity"] in WITHOUT_NUMBERS


def _without_offset(entry: Mapping[str, Any], error: AssumedError) -> dict[str, Any]:
    if not error.offset or offset_drops_out(entry):
        return dict(entry)
    # A difference: only temperatures have units whose zeros differ, and those went out above.
    in_unit, _ = conversion(error.unit, entry["unit"])
    return {**entry, "zero": float(entry["zero"]) + error.offset * in_unit}
