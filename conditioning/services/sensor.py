"""Add sensors and enter what a calibration found."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

from conditioning.domain.shapes import check_measures, check_number, check_text
from conditioning.models import Calibration, Sensor
from labmatrix.evidence.services.ledger import (
    ledger_append,
    ledger_transaction,
    plan_change_append,
)
from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

SERIAL_TAKEN = "A sensor with the serial {serial!r} is known already."
RANGE_TURNED = "The range is {low:g} to {high:g}; its lower end must lie below its upper end."
CALIBRATED_LATER = "calibrated_at is {at:%Y-%m-%d %H:%M} UTC, which is still to come."
DUE_BEFORE = "due_on is {due}, which is not after the calibration of {at:%Y-%m-%d}."
FACTOR_ZERO = "any number but 0 from -1e6 to 1e6; a factor of 0 would silence the sensor"


def sensor_subject(serial: str) -> str:
    """Under what name the ledger files a sensor's entries; at most 80 characters."""
    return f"sensor {serial}"[:80]


def sensor_add(
    *,
    actor: Person,
    serial: str,
    quantity: str,
    unit: str,
    now: datetime,
    range_low: float | None = None,
    range_high: float | None = None,
    note: str = "",
) -> Sensor:
    """A new sensor, by the serial on its body.

    Args:
        actor: who adds it.
        serial: as channel maps name it.
        quantity: load, deflection, strain, …
        unit: of its readings.
        now: the instant of the entry.
        range_low, range_high: ends of its measuring range, in ``unit``.
        note: anything else.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what does not fit.
        RuleBroken: ``sensor.serial-taken``.
    """
    require(actor.role, Action.RUN_MACHINES)
    fields: dict[str, Any] = {"serial": check_text(serial, argument="serial", at_most=100)}
    fields["quantity"], fields["unit"] = check_measures(quantity, unit)
    for name, value in (("range_low", range_low), ("range_high", range_high)):
        fields[name] = None if value is None else check_number(value, argument=name)
    low, high = fields["range_low"], fields["range_high"]
    if low is not None and high is not None and not low < high:
        raise ShapeError("sensor.range", RANGE_TURNED.format(low=low, high=high))
    fields["note"] = check_text(note, argument="note", at_most=4000, empty=True)
    with ledger_transaction():
        if Sensor.objects.filter(serial=fields["serial"]).exists():
            raise RuleBroken("sensor.serial-taken", SERIAL_TAKEN.format(serial=fields["serial"]))
        sensor = Sensor.objects.create(**fields)
        plan_change_append(
            actor=str(actor.id),
            subject=sensor_subject(sensor.serial),
            before=None,
            after=fields,
            why="added",
            now=now,
        )
    return sensor


def calibration_body(calibration: Calibration) -> dict[str, Any]:
    """What the ledger holds of a calibration."""
    due = calibration.due_on
    return {
        "sensor": calibration.sensor.serial,
        **calibration.as_input(),
        "due_on": due.isoformat() if due else None,
    }


def _check_instants(calibrated_at: datetime, due_on: date | None, now: datetime) -> None:
    if calibrated_at > now:
        raise ShapeError("calibration.later", CALIBRATED_LATER.format(at=calibrated_at))
    if due_on is not None and due_on <= calibrated_at.date():
        raise ShapeError("calibration.due", DUE_BEFORE.format(due=due_on, at=calibrated_at))


def _check_factor(factor: float) -> None:
    if check_number(factor, argument="factor", least=-1e6, most=1e6) == 0:
        raise RangeError("factor", 0, FACTOR_ZERO)


def calibration_add(
    *,
    actor: Person,
    sensor: Sensor,
    calibrated_at: datetime,
    factor: float,
    now: datetime,
    zero: float = 0.0,
    u_relative: float = 0.0,
    u_absolute: float = 0.0,
    certificate: str = "",
    due_on: date | None = None,
) -> Calibration:
    """Enter a calibration; it counts for records measured from ``calibrated_at`` on.

    Nothing is ever edited: another entry for the same instant takes the place of this one.

    Args:
        actor: who enters it.
        sensor: what was calibrated.
        calibrated_at: when, aware.
        factor: multiplies every reading; 1 for a sensor that reads true.
        now: the instant of the entry.
        zero: reading with nothing on it, in the sensor's unit.
        u_relative: relative standard uncertainty, 0 to 1.
        u_absolute: standard uncertainty in the sensor's unit.
        certificate: its number.
        due_on: when the next one is due.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what does not fit.
    """
    require(actor.role, Action.RUN_MACHINES)
    _check_instants(calibrated_at, due_on, now)
    _check_factor(factor)
    calibration = Calibration(
        sensor=sensor,
        calibrated_at=calibrated_at,
        factor=float(factor),
        zero=check_number(zero, argument="zero"),
        u_relative=check_number(u_relative, argument="u_relative", least=0, most=1),
        u_absolute=check_number(u_absolute, argument="u_absolute", least=0),
        certificate=check_text(certificate, argument="certificate", at_most=120, empty=True),
        due_on=due_on,
        recorded_at=now,
        recorded_by=str(actor.id),
    )
    with ledger_transaction():
        calibration.entry = ledger_append(
            actor=calibration.recorded_by,
            kind="calibration",
            subject=sensor_subject(sensor.serial),
            body=calibration_body(calibration),
            now=now,
        )
        calibration.save(force_insert=True)
    return calibration
