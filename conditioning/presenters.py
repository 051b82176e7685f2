"""Rows of this room as the API shows them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from conditioning.models import Calibration, Machine, Regime, Sensor
from conditioning.selectors.machine import Occupant
from labmatrix.kernel.clock import iso


def machine_row(machine: Machine) -> dict[str, Any]:
    """A machine as lists show it."""
    names = ("code", "name", "kind", "positions", "note", "dynamic_performance")
    return {name: getattr(machine, name) for name in names}


def machine_detail(machine: Machine, occupants: Sequence[Occupant]) -> dict[str, Any]:
    """A machine with what stands in it now."""
    return {**machine_row(machine), "occupancy": [_occupant(o) for o in occupants]}


def _occupant(occupant: Occupant) -> dict[str, Any]:
    return {
        "specimen": occupant.specimen or None,
        "position": occupant.position,
        "run": occupant.run,
        "since": iso(occupant.since),
        "is_cycling": occupant.is_cycling,
    }


def sensor_row(sensor: Sensor) -> dict[str, Any]:
    """A sensor of ``sensor_list`` with its last calibration."""
    names = ("serial", "quantity", "unit", "range_low", "range_high", "note")
    last_at, due_on = getattr(sensor, "last_at", None), getattr(sensor, "due_on", None)
    return {
        **{name: getattr(sensor, name) for name in names},
        "calibrated_at": iso(last_at) if last_at else None,
        "factor": getattr(sensor, "last_factor", None),
        "due_on": due_on.isoformat() if due_on else None,
    }


def calibration_row(calibration: Calibration) -> dict[str, Any]:
    """A calibration as it was entered."""
    return {
        "sensor": calibration.sensor.serial,
        **calibration.as_input(),
        "due_on": calibration.due_on.isoformat() if calibration.due_on else None,
        "recorded_at": iso(calibration.recorded_at),
        "recorded_by": calibration.recorded_by,
    }


def regime_row(regime: Regime) -> dict[str, Any]:
    """An exposure protocol."""
    names = ("code", "title", "kind", "text", "settings")
    return {name: getattr(regime, name) for name in names}
