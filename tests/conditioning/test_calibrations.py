"""Sensors and calibrations: which one is in force, and that none is ever edited."""

from __future__ import annotations

from datetime import date, timedelta
from operator import attrgetter

import pytest
from django.db import DatabaseError, connection, transaction

from conditioning.models import Calibration, Sensor
from conditioning.selectors.calibration import calibration_for
from conditioning.selectors.sensor import sensor_list
from conditioning.services.sensor import SERIAL_TAKEN, calibration_add, sensor_add
from labmatrix.evidence.guards import guards_install, guards_present
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from tests.conditioning.conftest import day
from tests.specimens.scene import NOW

pytestmark = pytest.mark.django_db
TABLE = "conditioning_calibration"


def run(statement):
    """Raw SQL, past every model."""
    with connection.cursor() as cursor:
        cursor.execute(statement)


def calibrate(cast, sensor, at, factor=1.0, **more):
    who = cast.people[more.pop("by", "manager")]
    return calibration_add(
        actor=who, sensor=sensor, calibrated_at=day(at), factor=factor, now=NOW, **more
    )


def test_the_last_calibration_not_later_than_the_record_counts(cast, cell):
    first = calibrate(cast, cell, "2026-01-12", 1.002)
    second = calibrate(cast, cell, "2026-06-15", 0.998)
    assert calibration_for("LC-3", day("2026-01-11")) is None
    assert calibration_for("LC-3", day("2026-01-12")) == first  # to the instant
    assert calibration_for("LC-3", day("2026-01-12") - timedelta(microseconds=1)) is None
    assert calibration_for("LC-3", day("2026-06-14")) == first
    assert calibration_for("LC-3", day("2026-06-15")) == second
    assert calibration_for("LC-3", NOW) == second
    assert calibration_for("LC-4", NOW) is None


def test_a_calibration_that_is_entered_late_counts_from_its_own_day(cast, cell):
    newer = calibrate(cast, cell, "2026-06-15", 0.998)
    late = calibrate(cast, cell, "2026-03-01", 1.01)
    assert calibration_for("LC-3", day("2026-05-01")) == late
    assert calibration_for("LC-3", NOW) == newer


def test_of_two_for_one_instant_the_one_entered_later_counts(cast, cell):
    calibrate(cast, cell, "2026-01-12", 1.2)
    right = calibrate(cast, cell, "2026-01-12", 1.02)
    assert calibration_for("LC-3", NOW) == right
    assert Calibration.objects.count() == 2


def test_the_input_of_a_reduction_holds_all_that_was_found(cast, cell):
    found = calibrate(
        cast, cell, "2026-01-12", 1.002, zero=0.1, u_relative=0.0025, u_absolute=0.05,
        certificate="K-26-003", due_on=date(2027, 1, 12),
    )  # fmt: skip
    assert found.as_input() == {
        "calibrated_at": "2026-01-12T09:00:00.000000Z",
        "factor": 1.002,
        "zero": 0.1,
        "u_relative": 0.0025,
        "u_absolute": 0.05,
        "certificate": "K-26-003",
    }
    found.refresh_from_db()
    assert canonical_json(found.as_input()) in found.entry.content.replace(
        ',"due_on":"2027-01-12"', ""
    ).replace(',"sensor":"LC-3"', "")


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"factor": 0}, "input.out-of-range"),
        ({"factor": float("nan")}, "input.out-of-range"),
        ({"factor": float("inf")}, "input.out-of-range"),
        ({"factor": True}, "input.out-of-range"),
        ({"zero": 1e13}, "input.out-of-range"),
        ({"u_relative": -0.1}, "input.out-of-range"),
        ({"u_relative": 1.5}, "input.out-of-range"),
        ({"u_absolute": -1}, "input.out-of-range"),
        ({"certificate": "x" * 121}, "input.text"),
        ({"certificate": "x\x00"}, "input.text"),
        ({"due_on": date(2026, 1, 12)}, "calibration.due"),
    ],
)
def test_refuses_a_calibration_that_cannot_be(cast, cell, more, code):
    with pytest.raises(ShapeError) as refused:
        calibrate(cast, cell, "2026-01-12", **more)
    assert refused.value.code == code
    assert not Calibration.objects.exists()


def test_refuses_a_calibration_that_is_still_to_come(cast, cell):
    with pytest.raises(ShapeError) as refused:
        calibrate(cast, cell, "2026-09-02")
    assert refused.value.code == "calibration.later"


@pytest.mark.parametrize("who", ["technician", "sponsor", "stranger"])
def test_only_those_who_run_machines_calibrate(cast, cell, who):
    with pytest.raises(NotFound):
        calibrate(cast, cell, "2026-01-12", by=who)
    with pytest.raises(NotFound):
        sensor_add(actor=cast.people[who], serial="X", quantity="load", unit="kN", now=NOW)


def test_a_serial_is_known_once_and_never_changes(cast, cell):
    with pytest.raises(RuleBroken) as refused:
        sensor_add(actor=cast.lead, serial=" LC-3 ", quantity="load", unit="N", now=NOW)
    assert refused.value.message == SERIAL_TAKEN.format(serial="LC-3")


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"serial": ""}, "input.text"),
        ({"serial": "S" * 101}, "input.text"),
        ({"quantity": "colour"}, "sensor.quantity"),
        ({"quantity": ["load"]}, "sensor.quantity"),
        ({"unit": "parsec"}, "unit.unknown"),
        ({"unit": "mm"}, "sensor.unit"),
        ({"range_low": 5, "range_high": 5}, "sensor.range"),
        ({"range_low": float("nan")}, "input.out-of-range"),
    ],
)
def test_refuses_a_sensor_that_cannot_be(cast, more, code):
    given = {"serial": "LC-9", "quantity": "load", "unit": "kN", **more}
    with pytest.raises(ShapeError) as refused:
        sensor_add(actor=cast.lead, now=NOW, **given)
    assert refused.value.code == code
    assert not Sensor.objects.exists()


def test_units_are_kept_in_our_spelling(cast):
    sensor = sensor_add(actor=cast.lead, serial="SG", quantity="strain", unit="µε", now=NOW)
    assert sensor.unit == "µm/m"


def test_lists_sensors_with_the_calibration_in_force(cast, cell):
    calibrate(cast, cell, "2026-06-15", 0.998, due_on=date(2027, 6, 15))
    calibrate(cast, cell, "2026-01-12", 1.002)
    sensor_add(actor=cast.lead, serial="LC-4", quantity="load", unit="kN", now=NOW)
    told = map(attrgetter("serial", "last_factor", "due_on"), sensor_list(actor=cast.technician))
    assert list(told) == [("LC-3", 0.998, date(2027, 6, 15)), ("LC-4", None, None)]


def test_the_database_refuses_to_change_a_calibration(cast, cell):
    calibrate(cast, cell, "2026-01-12", 1.002)
    for statement in (f"UPDATE {TABLE} SET factor = 1", f"DELETE FROM {TABLE}"):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            run(statement)
    assert Calibration.objects.get().factor == 1.002


def test_a_calibration_that_was_changed_behind_its_back_is_located(cast, cell):
    found = calibrate(cast, cell, "2026-01-12", 1.002)
    assert list(ledger_verify()) == []
    for name in sorted(n for n in guards_present(connection) if n.startswith(f"{TABLE}_")):
        run(f"DROP TRIGGER {name}" + ("" if connection.vendor == "sqlite" else f" ON {TABLE}"))
    run(f"UPDATE {TABLE} SET factor = 1.003")
    assert [(f.seq, f.where) for f in ledger_verify()] == [
        (found.entry_id, f"calibration {found.pk}")
    ]
    run(f"DELETE FROM {TABLE}")
    assert [(f.seq, f.where) for f in ledger_verify()] == [(found.entry_id, "calibration")]
    guards_install()


def test_every_entry_names_its_sensor_in_the_ledger(cast, cell):
    calibrate(cast, cell, "2026-01-12")
    told = LedgerEntry.objects.order_by("seq").values_list("kind", "subject")
    assert list(told) == [("plan", "sensor LC-3"), ("calibration", "sensor LC-3")]
