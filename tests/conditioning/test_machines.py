"""Machines and regimes: added once, changed with a reason, occupied as a fact of events."""

from __future__ import annotations

import json

import pytest

from conditioning.models import Machine, Regime
from conditioning.selectors.machine import machine_get, occupancy_of, occupants_as_seen_by
from conditioning.services.machine import (
    CODE_TAKEN,
    WHY_NEEDED,
    machine_add,
    machine_change,
)
from conditioning.services.regime import regime_add, regime_change
from labmatrix.evidence.models import LedgerEntry, Subject
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from tests.specimens.scene import MODE, NOW, kn, raw_event, sound_life

pytestmark = pytest.mark.django_db


def add(cast, **more):
    given = {"code": "SALT-1", "name": "Salt chamber", "kind": "chamber", **more}
    return machine_add(actor=cast.people["manager"], now=NOW, **given)


def last_body():
    return json.loads(LedgerEntry.objects.order_by("-seq")[0].content)["body"]


def test_a_machine_belongs_to_the_laboratory_and_its_code_is_a_subject(cast):
    machine = add(cast, positions=24, dynamic_performance=[])
    assert (machine.subject.kind, machine.subject.programme_code) == ("machine", "")
    assert machine.dynamic_performance is None
    assert last_body()["after"]["positions"] == 24
    assert machine_get(actor=cast.people["stranger"], code="SALT-1") == machine
    with pytest.raises(NotFound):
        machine_get(actor=cast.people["sponsor"], code="SALT-1")


def test_a_code_is_on_one_label_only(cast):
    specimen = cast.specimen()
    with pytest.raises(RuleBroken) as refused:
        add(cast, code=specimen.code)
    assert refused.value.message == CODE_TAKEN.format(code=specimen.code)
    assert not Machine.objects.exists()


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"code": "salt 1"}, "code.shape"),
        ({"code": "S" * 61}, "input.text"),
        ({"code": "\x00"}, "input.text"),
        ({"name": " "}, "input.text"),
        ({"name": "\ud800"}, "input.text"),
        ({"kind": "oven"}, "machine.kind"),
        ({"kind": None}, "machine.kind"),
        ({"positions": -1}, "input.out-of-range"),
        ({"positions": 10**300}, "input.out-of-range"),
        ({"dynamic_performance": [1]}, "machine.performance"),
        ({"dynamic_performance": "fast"}, "machine.performance"),
        ({"dynamic_performance": [{"amplitude_mm": 1}]}, "machine.performance"),
        ({"dynamic_performance": [{"amplitude_mm": 1, "frequency_hz": 0}]}, "machine.performance"),
        (
            {"dynamic_performance": [{"amplitude_mm": 1, "frequency_hz": 2, "colour": 3}]},
            "machine.performance",
        ),
    ],
)
def test_refuses_a_machine_that_cannot_be(cast, more, code):
    with pytest.raises(ShapeError) as refused:
        add(cast, **more)
    assert refused.value.code == code
    assert Subject.objects.filter(kind="machine").count() == 1  # the one of the cast


def test_a_change_is_kept_with_before_after_and_why(cast, rig):
    points = [{"amplitude_mm": 5, "frequency_hz": 4, "load_kn": 60}]
    changed = machine_change(
        actor=cast.lead, machine=rig, why="measured anew", now=NOW,
        changes={"dynamic_performance": points, "name": "Fatigue rig"},
    )  # fmt: skip
    assert changed.dynamic_performance == [
        {"amplitude_mm": 5.0, "frequency_hz": 4.0, "load_kn": 60.0}
    ]
    assert last_body() == {
        "before": {"dynamic_performance": None},
        "after": {"dynamic_performance": [{"amplitude_mm": 5, "frequency_hz": 4, "load_kn": 60}]},
        "why": "measured anew",
    }


def test_a_change_of_nothing_leaves_no_entry_and_one_without_reason_is_refused(cast, rig):
    entries = LedgerEntry.objects.count()
    machine_change(actor=cast.lead, machine=rig, changes={"positions": 1}, why="-", now=NOW)
    assert LedgerEntry.objects.count() == entries
    with pytest.raises(ShapeError) as refused:
        machine_change(actor=cast.lead, machine=rig, changes={"note": "x"}, why=" ", now=NOW)
    assert refused.value.message == WHY_NEEDED
    with pytest.raises(ShapeError) as refused:
        machine_change(actor=cast.lead, machine=rig, changes={"code": "X"}, why="y", now=NOW)
    assert refused.value.code == "machine.not-changeable"
    with pytest.raises(NotFound):
        machine_change(actor=cast.technician, machine=rig, changes={}, why="y", now=NOW)


def test_what_entered_and_did_not_leave_is_in_by_position(cast):
    salt = add(cast)
    codes = []
    for position in ("10", "2", "top"):
        specimen = cast.specimen()
        codes.append(specimen.code)
        stay = {"machine": "SALT-1", "position": position, "run": "WD-1"}
        cast.log(specimen.code, "cast", 0, {"batch": "C"})
        cast.log(specimen.code, "entered", 30, stay)
    assert [(o.position, o.specimen) for o in occupancy_of(salt)] == [
        ("2", codes[1]),
        ("10", codes[0]),
        ("top", codes[2]),
    ]
    cast.log(codes[1], "left", 60, {"machine": "SALT-1"})
    assert [o.position for o in occupancy_of(salt)] == ["10", "top"]


def test_a_whole_life_leaves_the_machine_empty(cast, rig):
    specimen = cast.specimen()
    life = sound_life(specimen.code)
    cast.send(*life[:9])
    [occupant] = occupancy_of(rig)
    assert (occupant.specimen, occupant.is_cycling) == (specimen.code, True)
    cast.send(*life[9:])
    assert occupancy_of(rig) == ()


def test_an_entry_in_conflict_occupies_nothing(cast):
    salt = add(cast)
    specimen = cast.specimen()
    cast.log(specimen.code, "entered", 30, {"machine": "SALT-1"})  # before it was cast
    assert occupancy_of(salt) == ()


def test_a_specimen_that_broke_in_cycling_is_no_longer_cycling(cast, rig):
    specimen = cast.specimen()
    run = {"machine": "RIG-1", "minimum": kn(2), "maximum": kn(9),
           "frequency": {"value": 3, "unit": "Hz"}}  # fmt: skip
    cast.send(
        raw_event(specimen.code, "cast", 0, {"batch": "C"}),
        raw_event(specimen.code, "cycling-started", 40, run),
        raw_event(specimen.code, "broken", 41, {"end": "failed in cycling", "mode": MODE}),
    )
    assert occupancy_of(rig) == ()


def test_other_peoples_specimens_are_there_without_their_codes(cast):
    salt = add(cast)
    specimen = cast.specimen()
    cast.log(specimen.code, "cast", 0, {"batch": "C"})
    cast.log(specimen.code, "entered", 30, {"machine": "SALT-1", "position": "4", "run": "WD-1"})
    [ours] = occupants_as_seen_by(cast.technician, occupancy_of(salt))
    [theirs] = occupants_as_seen_by(cast.people["stranger"], occupancy_of(salt))
    assert ours.specimen == specimen.code
    assert (theirs.specimen, theirs.run, theirs.programme_code) == ("", "", "")
    assert (theirs.position, theirs.since) == (ours.position, ours.since)


@pytest.mark.parametrize("others", [2, 6])
def test_occupancy_takes_one_query_however_many(cast, others, django_assert_num_queries):
    salt = add(cast)
    cast.cells["P2"].replicates = others
    cast.cells["P2"].save()
    for position in range(others):
        specimen = cast.specimen()
        stay = {"machine": "SALT-1", "position": str(position)}
        cast.log(specimen.code, "cast", 0, {"batch": "C"})
        cast.log(specimen.code, "entered", 30, stay)
    with django_assert_num_queries(1):
        assert len(occupancy_of(salt)) == others


def test_a_regime_is_added_once_and_changed_with_a_reason(cast):
    regime = regime_add(
        actor=cast.lead, code="WD-SALT", title="Wet–dry in salt water", kind="wet-dry",
        settings={"wet_h": 72, "salt_percent": 3.5}, now=NOW,
    )  # fmt: skip
    changed = regime_change(
        actor=cast.lead, regime=regime, changes={"settings": {"wet_h": 48}}, why="pump", now=NOW
    )
    assert changed.settings == {"wet_h": 48}
    assert last_body()["before"] == {"settings": {"salt_percent": 3.5, "wet_h": 72}}
    with pytest.raises(RuleBroken):
        regime_add(actor=cast.lead, code="WD-SALT", title="Again", kind="other", now=NOW)
    with pytest.raises(NotFound):
        regime_add(actor=cast.technician, code="X", title="X", kind="other", now=NOW)
    with pytest.raises(ShapeError):
        regime_change(actor=cast.lead, regime=regime, changes={"code": "X"}, why="y", now=NOW)


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"code": "wd salt"}, "code.shape"),
        ({"title": ""}, "input.text"),
        ({"kind": "sauna"}, "regime.kind"),
        ({"settings": [1]}, "regime.settings"),
        ({"settings": {"Wet h": 1}}, "regime.settings"),
        ({"settings": {"wet_h": [1]}}, "regime.settings"),
        ({"settings": {"wet_h": float("inf")}}, "regime.settings"),
        ({"settings": {"wet_h": "\x00"}}, "input.text"),
    ],
)
def test_refuses_a_regime_that_cannot_be(cast, more, code):
    given = {"code": "WD", "title": "Wet–dry", "kind": "wet-dry", **more}
    with pytest.raises(ShapeError) as refused:
        regime_add(actor=cast.lead, now=NOW, **given)
    assert refused.value.code == code
    assert not Regime.objects.exists()
