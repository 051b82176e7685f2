"""The API and the pages of machines, sensors, calibrations and regimes."""

from __future__ import annotations

import json
import re

import pytest

from conditioning.models import Calibration, Machine, Regime, Sensor
from conditioning.services.machine import machine_add
from conditioning.services.sensor import sensor_add
from specimens.domain.kinds import INCIDENT_WORDS
from specimens.models import Event
from tests.specimens.scene import NOW, new_id, raw_event

pytestmark = pytest.mark.django_db
JSON = "application/json"


def words_of(answer):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


def post(client, address, body):
    return client.post(address, json.dumps(body), content_type=JSON)


def test_machines_are_added_changed_and_listed(cast, as_person):
    client = as_person("manager")
    body = {
        "code": "RIG-2",
        "name": "Rig",
        "kind": "rig",
        "positions": 2,
        "dynamic_performance": [{"amplitude_mm": 5, "frequency_hz": 4}],
    }
    assert post(client, "/api/machines/", body).status_code == 201
    taken = post(client, "/api/machines/", body)
    assert (taken.status_code, taken.json()["code"]) == (409, "machine.code-taken")
    change = {"name": "Second rig", "why": "renamed"}
    changed = post(client, "/api/machines/RIG-2/change/", change).json()
    assert (changed["name"], changed["positions"]) == ("Second rig", 2)
    listed = as_person("technician").get("/api/machines/").json()
    assert [row["code"] for row in listed["results"]] == ["RIG-2"]


def test_a_machine_tells_what_stands_in_it(cast, rig, as_person):
    specimen = cast.specimen()
    cast.log(specimen.code, "cast", 0, {"batch": "C"})
    cast.log(specimen.code, "entered", 30, {"machine": "RIG-1", "position": "1"})
    ours = as_person("technician").get("/api/machines/RIG-1/").json()["occupancy"]
    assert ours == [
        {
            "specimen": specimen.code,
            "position": "1",
            "run": "",
            "since": "2026-02-04T08:00:00.000000Z",
            "is_cycling": False,
        }
    ]
    theirs = as_person("stranger").get("/api/machines/RIG-1/").json()["occupancy"]
    assert [o["specimen"] for o in theirs] == [None]
    assert specimen.code in words_of(as_person("technician").get("/machines/RIG-1/"))
    page = words_of(as_person("stranger").get("/machines/RIG-1/"))
    assert specimen.code not in page
    assert "of another programme" in page


def test_sensors_and_their_calibrations_are_entered_and_listed(cast, as_person):
    client = as_person("manager")
    sensor = {"serial": "LC/3 old", "quantity": "load", "unit": "kN", "range_high": 200}
    assert post(client, "/api/sensors/", sensor).status_code == 201
    address = "/api/sensors/LC/3%20old/calibrations/"
    for at, factor in (("2026-01-12T09:00:00Z", 1.002), ("2026-06-15T11:00:00+02:00", 0.998)):
        body = {"calibrated_at": at, "factor": factor, "due_on": "2027-01-12"}
        assert post(client, address, body).status_code == 201
    rows = as_person("technician").get(address).json()["results"]
    assert [(row["calibrated_at"], row["factor"]) for row in rows] == [
        ("2026-06-15T09:00:00.000000Z", 0.998),
        ("2026-01-12T09:00:00.000000Z", 1.002),
    ]
    [listed] = client.get("/api/sensors/").json()["results"]
    assert (listed["factor"], listed["due_on"]) == (0.998, "2027-01-12")


MACHINE = b'"code": "X", "name": "n", "kind": "rig"'
SENSOR = b'"serial": "S", "quantity": "load", "unit": "kN"'
REGIME = b'"code": "X", "title": "t", "kind": "other"'
AT = b'"calibrated_at": "2026-01-01T00:00:00Z"'
CALIBRATIONS = "/api/sensors/LC-3/calibrations/"


@pytest.mark.parametrize(
    ("address", "body"),
    [
        ("/api/machines/", b"["),
        ("/api/machines/", b"[]"),
        ("/api/machines/", b'{"code": "X", "name": "\\u0000", "kind": "rig"}'),
        ("/api/machines/", b'{"code": "X", "name": "\\ud800", "kind": "rig"}'),
        ("/api/machines/", b"{" + MACHINE + b', "positions": 1e99}'),
        ("/api/machines/", b"{" + MACHINE + b', "dynamic_performance": {"a": "\\u0000"}}'),
        ("/api/sensors/", b'{"serial": "S", "quantity": "load", "unit": "\\u0000"}'),
        ("/api/sensors/", b"{" + SENSOR + b', "range_low": "nan"}'),
        ("/api/sensors/", b"{" + SENSOR + b', "range_low": ' + b"9" * 299 + b"}"),
        (CALIBRATIONS, b'{"calibrated_at": "noon", "factor": 1}'),
        (CALIBRATIONS, b'{"calibrated_at": "0001-01-01T00:00:00+09:00", "factor": 1}'),
        (CALIBRATIONS, b"{" + AT + b', "factor": "inf"}'),
        (CALIBRATIONS, b"{" + AT + b', "factor": 0}'),
        ("/api/regimes/", b"{" + REGIME + b', "settings": {"a": "\\u0000"}}'),
        ("/api/regimes/", b"{" + REGIME + b', "settings": {"\\ud800": 1}}'),
        ("/api/regimes/", b"{" + REGIME + b', "settings": [[[]]]}'),
    ],
)
def test_nonsense_is_refused_with_a_sentence(cast, cell, as_person, address, body):
    answer = as_person().post(address, body, content_type=JSON)
    assert answer.status_code == 400
    assert set(answer.json()) == {"code", "message", "facts"}
    assert (Machine.objects.count(), Sensor.objects.count(), Regime.objects.count()) == (0, 1, 0)
    assert not Calibration.objects.exists()


@pytest.mark.parametrize(
    "address",
    ["/api/machines/%00/", "/api/sensors/%00/calibrations/", "/sensors/of/%00/", "/machines/NONE/"],
)
def test_an_address_of_nonsense_leads_nowhere(cast, as_person, address):
    assert as_person().get(address).status_code in (400, 404)


def test_pages_add_change_and_calibrate(cast, as_person):
    client = as_person("manager")
    machine = {"code": "RIG-2", "name": "Rig", "kind": "rig", "positions": "1",
               "amplitude_mm_0": "5", "frequency_hz_0": "4"}  # fmt: skip
    assert client.post("/machines/new/", machine)["Location"] == "/machines/RIG-2/"
    assert "is on another label already" in words_of(client.post("/machines/new/", machine))
    page = words_of(client.get("/machines/RIG-2/"))
    assert "Dynamic performance" in page
    assert "Moving rig" in page
    sensor = {"serial": "LC-7", "quantity": "load", "unit": "mm"}
    refused = client.post("/sensors/new/", sensor)
    assert "load is measured in kN" in words_of(refused)
    assert client.post("/sensors/new/", {**sensor, "unit": "kN"}).status_code == 302
    found = {"calibrated_at": "2026-03-01T08:00", "factor": "1.0025", "zero": "0.1",
             "u_relative": "0.0025", "u_absolute": "0", "certificate": "K-1",
             "due_on": "2026-08-01"}  # fmt: skip
    assert client.post("/sensors/of/LC-7/calibrate/", found).status_code == 302
    page = words_of(client.get("/sensors/of/LC-7/"))
    assert "1 .0025" in page
    assert "overdue" in page
    assert "2026-03-01 08:00" in page  # in the laboratory's zone, as it was typed
    assert Calibration.objects.get().calibrated_at.isoformat() == "2026-03-01T07:00:00+00:00"


def test_an_empty_room_says_what_to_do_first(cast, as_person):
    client = as_person("technician")
    assert "Add the chambers and rigs first" in words_of(client.get("/machines/"))
    assert "Add them with the serial on their body" in words_of(client.get("/sensors/"))
    assert "Write down the laboratory's own air first" in words_of(client.get("/regimes/")).replace(
        "&#x27;", "'"
    )


def test_an_incident_is_reported_on_the_machine_and_stays_readable(cast, rig, as_person):
    client = as_person("technician")
    form = client.get("/specimens/RIG-1/log/incident/")
    assert INCIDENT_WORDS in words_of(form)
    assert 'value="RIG-1"' in form.content.decode()
    sent = {
        "event_id": new_id(),
        "occurred_at": "2026-03-01T08:00:00",
        "machine": "RIG-1",
        "words": "oil on the floor",
    }
    answer = client.post("/specimens/RIG-1/log/incident/", sent)
    assert answer["Location"] == "/machines/RIG-1/"
    assert "oil on the floor" in words_of(client.get("/machines/RIG-1/"))
    strike = f"/specimens/RIG-1/events/{sent['event_id']}/strike/"
    assert client.post(strike, {"event_id": new_id(), "why": "other rig"}).status_code == 302
    said = words_of(client.get("/machines/RIG-1/"))
    assert "struck . other rig" in said
    assert Event.objects.count() == 2


@pytest.mark.parametrize("rows", [2, 7])
def test_lists_take_the_same_queries_however_many_rows(
    cast, rig, as_person, rows, django_assert_num_queries
):
    for n in range(rows):
        machine_add(actor=cast.lead, code=f"M-{n}", name="M", kind="other", now=NOW)
        sensor_add(actor=cast.lead, serial=f"S-{n}", quantity="load", unit="kN", now=NOW)
        cast.send(raw_event("RIG-1", "note", n, {"text": "seen"}))
    client = as_person("technician")
    for address, queries in (
        ("/api/machines/", 5),
        ("/api/sensors/", 5),
        ("/machines/", 6),
        ("/sensors/", 6),
        ("/machines/RIG-1/", 11),
    ):
        with django_assert_num_queries(queries):
            assert client.get(address).status_code == 200
