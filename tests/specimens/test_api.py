"""The API of specimens and events."""

from __future__ import annotations

from datetime import timedelta

import pytest
from rest_framework.test import APIClient

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.clock import iso
from specimens.domain import rules
from specimens.domain.catalogue import CATALOGUE
from specimens.models import Event, Specimen
from specimens.services.specimen import MEASURED_ALIKE
from tests.specimens.scene import CAST_AT, raw_event, sound_life

pytestmark = pytest.mark.django_db
JSON = {"format": "json"}


@pytest.fixture
def api(cast):
    """A client that speaks as one of the people."""

    def speaking(name="lead"):
        client = APIClient()
        client.force_authenticate(cast.people[name])
        return client

    return speaking


def test_lists_specimens_by_code_in_pages(cast, api):
    for _ in range(3):
        cast.specimen()
    first = api().get("/api/specimens/?page_size=2").json()
    assert (first["count"], first["previous"]) == (3, None)
    assert [row["code"] for row in first["results"]] == ["QS-P2-01", "QS-P2-02"]
    second = api().get(first["next"]).json()
    assert [row["code"] for row in second["results"]] == ["QS-P2-03"]
    assert second["results"][0] | {"ages": None} == {
        "code": "QS-P2-03",
        "programme": "QUAYSIDE",
        "series": "QS",
        "cell": "P2",
        "number": 3,
        "stage": "planned",
        "end": "",
        "ended_at": None,
        "place": "",
        "plies": 0,
        "load_cycles": 0,
        "ages": None,
        "conflicts": 0,
        "open_deviations": 0,
        "is_excluded": False,
    }


def test_filters_by_programme_series_cell_and_stage(cast, api):
    strengthened, plain = cast.specimen("P2"), cast.specimen("P0")
    cast.log(plain.code, "cast", 0, {"batch": "C"})

    def codes(query):
        return [row["code"] for row in api().get(f"/api/specimens/?{query}").json()["results"]]

    both = [plain.code, strengthened.code]
    assert codes("programme=QUAYSIDE") == codes("series=QS") == both
    assert codes("series=QS&cell=P2") == [strengthened.code]
    assert codes("stage=cast") == [plain.code]
    assert codes("cell=P9") == []
    assert api().get("/api/specimens/?series=ES").status_code == 404
    assert api().get("/api/specimens/?programme=NONE").status_code == 404


def test_tells_one_specimen_with_ages_at_its_end(cast, api):
    specimen = cast.specimen(locations=["A", "B"], measured={"fc_mpa": 33.1})
    cast.send(*sound_life(specimen.code))
    found = api("technician").get(f"/api/specimens/{specimen.code}/").json()
    assert found["stage"] == "run-out, then broken"
    assert found["load_cycles"] == 2_000_000
    assert found["ages"] == {
        "at": iso(CAST_AT + timedelta(days=168)),
        "concrete": {"value": 168.0, "unit": "d"},
        "mortar": {"value": pytest.approx(139.96), "unit": "d"},
        "since_exposure": {"value": 26.0, "unit": "d"},
    }
    assert found["levels"] == {"plies": 2.0}
    assert found["member"] == {"b_mm": 200, "h_mm": 300, "fc_mpa": 33.1, "fabric": "invented"}
    assert found["measured"] == {"fc_mpa": 33.1}
    assert found["locations"] == [
        {"name": "A", "code": f"{specimen.code}-A"},
        {"name": "B", "code": f"{specimen.code}-B"},
    ]
    assert [event["kind"] for event in found["events"]][:2] == ["cast", "layer"]
    assert (found["events_count"], found["deviations"], found["conflicting"]) == (12, [], [])


def test_tells_the_route_as_planned_and_as_achieved(cast, api):
    specimen = cast.specimen()
    cast.send(*sound_life(specimen.code)[:7])  # in exposure under load since day 57.1
    at = iso(CAST_AT + timedelta(days=100))
    found = api().get(f"/api/specimens/{specimen.code}/", {"at": at}).json()
    route = {stage["stage"]: stage for stage in found["route"]}
    assert list(route) == [
        "cast", "cure", "strengthen", "cure-mortar", "expose", "sustain", "cycle", "break",
    ]  # fmt: skip
    states = {kind: stage["state"] for kind, stage in route.items()}
    assert states == {
        "cast": "done",
        "cure": "done",
        "strengthen": "done",
        "cure-mortar": "done",
        "expose": "under way",
        "sustain": "under way",
        "cycle": "planned",
        "break": "planned",
    }
    [exposed] = route["expose"]["amounts"]
    assert (exposed["value"], exposed["planned"]) == (pytest.approx(42.9), 84)
    assert [a["what"] for a in route["sustain"]["amounts"]] == ["load", "held"]
    assert (route["expose"]["branch"], route["sustain"]["branch"]) == (1, 2)
    assert found["place"] == "SALT-1 3"


def test_ages_are_told_for_the_instant_asked(cast, api):
    specimen = cast.specimen()
    cast.send(*sound_life(specimen.code))
    address = f"/api/specimens/{specimen.code}/"
    early = api().get(address, {"at": iso(CAST_AT + timedelta(days=7))}).json()["ages"]
    assert early["concrete"] == {"value": 7.0, "unit": "d"}
    assert (early["mortar"], early["since_exposure"]) == (None, None)
    answer = api().get(address, {"at": "2026-01-12"})
    assert (answer.status_code, answer.json()["code"]) == (400, "input.instant")


def test_creates_the_next_specimens_of_a_cell(cast, api):
    body = {"series": "QS", "cell": "P2", "count": 2, "locations": ["A"]}
    answer = api("manager").post("/api/specimens/", body, **JSON)
    assert answer.status_code == 201
    assert [row["code"] for row in answer.json()] == ["QS-P2-01", "QS-P2-02"]
    assert Specimen.objects.get(code="QS-P2-01").locations.count() == 1
    full = api().post("/api/specimens/", {"series": "QS", "cell": "P2", "count": 3}, **JSON)
    assert (full.status_code, full.json()["code"]) == (409, "specimen.cell-full")
    assert Specimen.objects.count() == 2


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"measured": {"fc_mpa": 30}, "count": 2}, "specimen.measured"),
        ({"measured": {"fc_mpa": True}}, "specimen.measured"),
        ({"measured": {"fc_mpa": [1]}}, "specimen.measured"),
        ({"measured": {"Fc MPa": 30}}, "specimen.measured"),
        ({"locations": ["end a"]}, "specimen.location"),
        ({"locations": ["A" * 31]}, "request.shape"),
        ({"count": 0}, "request.shape"),
        ({"count": "many"}, "request.shape"),
        ({"locations": "A"}, "request.shape"),
    ],
)
def test_refuses_to_create_with_values_that_are_none(cast, api, more, code):
    answer = api().post("/api/specimens/", {"series": "QS", "cell": "P2", **more}, **JSON)
    assert (answer.status_code, answer.json()["code"]) == (400, code)
    assert not Specimen.objects.exists()
    if code == "specimen.measured" and more.get("count"):
        assert answer.json()["message"] == MEASURED_ALIKE.format(count=2)


def test_measured_values_take_the_place_of_specified_ones_with_a_reason(cast, api):
    specimen = cast.specimen()
    address = f"/api/specimens/{specimen.code}/measured/"
    body = {"measured": {"fc_mpa": 34.2, "d_mm": 261}, "why": "cylinders tested"}
    answer = api("manager").post(address, body, **JSON)
    assert answer.status_code == 200
    assert answer.json()["member"]["fc_mpa"] == 34.2
    entry = LedgerEntry.objects.order_by("-seq")[0]
    assert (entry.kind, entry.subject) == ("plan", specimen.code)
    assert '"why":"cylinders tested"' in entry.content
    refused = api().post(address, {"measured": {"fc_mpa": 1}, "why": " "}, **JSON)
    assert refused.status_code == 400


def test_takes_one_event_or_a_list_and_answers_in_order(cast, api):
    specimen = cast.specimen()
    one = raw_event(specimen.code, "layer", 28, {"kind": "mortar", "lot": "M"})
    answer = api("technician").post("/api/events/", one, **JSON)
    assert answer.status_code == 200
    assert answer.json() == [
        {
            "id": one["id"],
            "answer": "conflict",
            "error": {
                "code": "event.before-origin",
                "message": rules.NOT_THERE_YET,
                "facts": {"specimen": specimen.code},
            },
        }
    ]
    cast_here = raw_event(specimen.code, "cast", 0, {"batch": "C"})
    batch = [cast_here, one, raw_event(specimen.code, "melted")]
    told = api("technician").post("/api/events/", batch, **JSON).json()
    assert [(t["id"], t["answer"]) for t in told] == [
        (cast_here["id"], "stored"),
        (one["id"], "duplicate"),
        (batch[2]["id"], "rejected"),
    ]
    assert api("technician").post("/api/events/", [], **JSON).json() == []


def test_measures_the_skew_from_the_clock_that_the_device_sends(cast, api):
    specimen = cast.specimen()
    note = raw_event(specimen.code, "note", 0, {"text": "hi"}, device="tablet-1", sequence=1)
    note["device_at"] = note["occurred_at"]
    headers = {"Device-Clock": "2026-01-05T08:00:00Z"}
    api().post("/api/events/", note, headers=headers, **JSON)
    assert Event.objects.get().skew_seconds > 120
    wrong = api().post("/api/events/", note, headers={"Device-Clock": "noon"}, **JSON)
    assert (wrong.status_code, wrong.json()["code"]) == (400, "input.instant")


def test_lists_events_in_the_order_of_arrival_with_what_became_of_each(cast, api):
    specimen = cast.specimen()
    wrong = raw_event(specimen.code, "cast", 0, {"batch": "C-1"})
    right = raw_event(specimen.code, "cast", 0.1, {"batch": "C-2"}, corrects=wrong["id"])
    held = raw_event(specimen.code, "released", 2, {"point": "HP1"})
    cast.send(right, wrong, held)
    rows = api("technician").get(f"/api/events/?subject={specimen.code}").json()["results"]
    assert [(row["id"], row["standing"]) for row in rows] == [
        (right["id"], "stands"),
        (wrong["id"], "struck"),
        (held["id"], "in conflict"),
    ]
    assert rows[1]["struck_by"] == right["id"]
    assert rows[2]["conflict"]["words"] == rules.NOT_HELD.format(point="HP1")
    assert rows[0]["actor"] == str(cast.technician.pk)
    only = api().get(f"/api/events/?subject={specimen.code}&kind=released").json()
    assert only["count"] == 1


def test_corrections_on_a_machine_count_as_well(cast, api):
    note = raw_event("OLD-RIG", "note", 0, {"text": "oil low"})
    strike = raw_event("OLD-RIG", "corrected", 1, {"event": note["id"], "why": "wrong rig"})
    cast.send(note, strike)
    rows = api("technician").get("/api/events/?subject=OLD-RIG").json()["results"]
    assert [row["standing"] for row in rows] == ["struck", "stands"]


def test_sponsors_see_no_raw_events_and_strangers_none_of_ours(cast, api):
    specimen = cast.specimen()
    cast.log(specimen.code, "note", 0, {"text": "ours"})
    assert api("sponsor").get("/api/events/").json()["count"] == 0
    assert api("sponsor").get("/api/specimens/").json()["count"] == 0
    assert api("stranger").get("/api/events/").json()["count"] == 0
    assert api("stranger").get(f"/api/events/?subject={specimen.code}").status_code == 404


def test_gives_the_schema_of_every_payload(cast, api):
    schemas = api("sponsor").get("/api/events/schema/").json()
    assert set(schemas) == set(CATALOGUE)
    assert schemas["re-tensioned"]["required"] == ["from", "to"]
    assert schemas["counted"]["properties"]["cycles"]["maximum"] == 10**10


@pytest.mark.parametrize("rows", [3, 9])
def test_a_page_takes_the_same_queries_however_many_rows(
    cast, api, rows, django_assert_num_queries
):
    cast.cells["P2"].replicates = rows
    cast.cells["P2"].save()
    for _ in range(rows):
        specimen = cast.specimen()
        cast.send(*sound_life(specimen.code))
    client = api()
    with django_assert_num_queries(6):
        listed = client.get("/api/specimens/?series=QS")
    assert len(listed.json()["results"]) == rows
    with django_assert_num_queries(5):
        events = client.get("/api/events/")
    assert len(events.json()["results"]) == min(100, 12 * rows)
    with django_assert_num_queries(7):
        client.get("/api/specimens/QS-P2-01/")
