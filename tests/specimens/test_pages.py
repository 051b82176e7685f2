"""Pages of specimens and events: what they say, and that a form does what the API does."""

from __future__ import annotations

import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from labmatrix.evidence.models import LedgerEntry
from specimens.domain import rules
from specimens.domain.catalogue import CATALOGUE
from specimens.domain.kinds import GROUPS, INCIDENT_WORDS
from specimens.forms import NOT_A_PICTURE
from specimens.models import Deviation, Event, Specimen
from specimens.selectors.event import reason_id
from tests.specimens.access_world import PNG
from tests.specimens.scene import MODE, new_id, raw_event, sound_life

pytestmark = pytest.mark.django_db


@pytest.fixture
def as_person(cast):
    """A signed-in browser of one of the people."""

    def signed_in(name="lead"):
        client = Client()
        client.force_login(cast.people[name])
        return client

    return signed_in


def words_of(answer):
    """A page's text without its markup."""
    text = re.sub(r"<(script|style).*?</\1>", " ", answer.content.decode(), flags=re.S)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text))


def form(**more):
    return {"event_id": new_id(), "occurred_at": "2026-02-02T09:00:00", **more}


def test_the_list_says_stage_ages_and_questions(cast, as_person):
    specimen = cast.specimen()
    cast.log(specimen.code, "layer", 28, {"kind": "mortar", "lot": "M"})
    page = as_person("technician").get("/specimens/?series=QS")
    assert specimen.code in words_of(page)
    assert "1 event in conflict" in words_of(page)
    assert "1 specimen: 1 planned" in words_of(page)


def test_the_pages_of_the_matrix_lead_to_its_specimens(cast, as_person):
    for address, query in (
        ("/programmes/QUAYSIDE/", "programme=QUAYSIDE"),
        ("/series/QS/", "series=QS"),
        ("/series/QS/cells/P2/", "series=QS&amp;cell=P2"),
    ):
        page = as_person("manager").get(address).content.decode()
        assert f'"/specimens/?{query}"' in page
        assert "/specimens/create/" in page or "programme" in query
        assert "/specimens/" not in as_person("sponsor").get(address).content.decode()


def test_an_empty_list_says_what_to_do_first(cast, as_person):
    assert "create them, then print their labels" in words_of(
        as_person().get("/specimens/?series=QS")
    )
    assert "The research lead adds people" in words_of(as_person("sponsor").get("/specimens/"))


def test_the_specimens_page_tells_its_route_ages_and_events(cast, as_person):
    specimen = cast.specimen(locations=["A"])
    cast.send(*sound_life(specimen.code))
    said = words_of(as_person("technician").get(f"/specimens/{specimen.code}/"))
    assert "Age of the concrete 168.0" in said
    assert "Since the end of exposure 26.00" in said
    assert "Load cycles 2 000 000" in said
    assert "run-out, then broken: slip in the mortar" in said
    assert f"{specimen.code}-A" in said
    assert "technician" in said
    assert said.index("broken : end") < said.index("cast : batch")


@pytest.mark.parametrize(
    ("until", "hazard"), [(7, "Held load"), (10, "Moving rig"), (2, "Stored energy")]
)
def test_work_that_stores_energy_brings_its_caution(cast, as_person, until, hazard):
    specimen = cast.specimen()
    cast.send(*sound_life(specimen.code)[:until])
    said = words_of(as_person("technician").get(f"/specimens/{specimen.code}/"))
    assert hazard in said
    assert "Report incident" in said
    assert "this does not stop the machine" in said


def test_struck_and_conflicting_events_are_marked_in_words_with_their_reasons(cast, as_person):
    specimen = cast.specimen()
    wrong = raw_event(specimen.code, "cast", 0, {"batch": "C-1"})
    strike = raw_event(specimen.code, "corrected", 1, {"event": wrong["id"], "why": "wrong mould"})
    early = raw_event(specimen.code, "demoulded", 2)
    cast.send(wrong, strike, early)
    said = words_of(as_person().get(f"/specimens/{specimen.code}/"))
    assert "struck . wrong mould" in said
    assert f"in conflict , without effect. {rules.NOT_THERE_YET}" in said


def test_every_kind_that_a_person_logs_has_its_place_and_its_form(cast, as_person):
    offered = [kind for kinds in GROUPS.values() for kind in kinds]
    assert sorted([*offered, "corrected", "judged"]) == sorted(CATALOGUE)
    specimen, client = cast.specimen(), as_person("technician")
    choose = client.get(f"/specimens/{specimen.code}/log/").content.decode()
    for kind in offered:
        assert f"/specimens/{specimen.code}/log/{kind}/" in choose
        page = client.get(f"/specimens/{specimen.code}/log/{kind}/")
        assert page.status_code == 200
        assert "When it happened" in words_of(page)


def test_logs_an_event_in_the_laboratorys_zone(cast, as_person):
    specimen = cast.specimen()
    answer = as_person("technician").post(
        f"/specimens/{specimen.code}/log/cast/", form(batch="C-07")
    )
    assert answer["Location"] == f"/specimens/{specimen.code}/"
    event = Event.objects.get()
    assert event.payload == {"batch": "C-07"}
    assert event.occurred_at.isoformat() == "2026-02-02T08:00:00+00:00"  # nine in Oslo
    assert cast.state(specimen).stage == "cast"


def test_sending_the_same_form_twice_logs_once(cast, as_person):
    specimen, sent, client = cast.specimen(), form(batch="C-07"), as_person("technician")
    address = f"/specimens/{specimen.code}/log/cast/"
    assert [client.post(address, sent).status_code for _ in (1, 2)] == [302, 302]
    assert Event.objects.count() == 1
    assert "It was logged before, once" in words_of(client.get(f"/specimens/{specimen.code}/"))


def test_quantities_are_taken_in_the_unit_that_is_chosen(cast, as_person):
    specimen = cast.specimen()
    cast.log(specimen.code, "cast", 0, {"batch": "C"})
    sent = form(load="4.5", load__unit="kip", reference="its control", moment="")
    as_person().post(f"/specimens/{specimen.code}/log/loaded/", sent)
    assert Event.objects.get(kind="loaded").payload["load"] == {"value": 4.5, "unit": "kip"}
    assert cast.state(specimen).folded["life"]["sustained"]["load_kn"] == pytest.approx(20.017)


@pytest.mark.parametrize(
    ("kind", "sent", "sentence"),
    [
        ("cast", {"batch": ""}, "This field is required."),
        ("cast", {"batch": "x\x00"}, "Null characters are not allowed."),
        ("loaded", {"load": "1e999", "load__unit": "kN", "reference": "-"}, "Enter a number."),
        ("read", {"quantity": "load", "value": "3", "value__unit": ""}, "Choose the unit."),
        ("read", {"quantity": "load", "value": "3", "value__unit": "mm"}, "a force is needed"),
        ("pre-cracked", {"load": "", "moment": ""}, "give either the moment or the load"),
        ("checklist", {"name": "x", "answers": "no colon"}, "a question, a colon and its answer"),
        ("counted", {"cycles": "-3"}, "greater than or equal to 0"),
    ],
)
def test_a_form_that_does_not_fit_says_so_and_logs_nothing(cast, as_person, kind, sent, sentence):
    specimen = cast.specimen()
    page = as_person("technician").post(f"/specimens/{specimen.code}/log/{kind}/", form(**sent))
    assert page.status_code == 400
    assert sentence in words_of(page)
    assert not Event.objects.exists()


@pytest.mark.parametrize("year", ["0001", "1899", "9999"])
def test_a_year_that_no_laboratory_has_is_refused(cast, as_person, year):
    specimen = cast.specimen()
    sent = form(text="seen", occurred_at=f"{year}-01-01T00:00:00")
    page = as_person().post(f"/specimens/{specimen.code}/log/note/", sent)
    assert "Give a year from 1901 to 2198." in words_of(page)


def test_warns_before_it_logs_what_would_be_in_conflict(cast, as_person):
    specimen, client = cast.specimen(), as_person("technician")
    address = f"/specimens/{specimen.code}/log/layer/"
    sent = form(kind="mortar", lot="M-1")
    page = client.post(address, sent)
    assert rules.NOT_THERE_YET in words_of(page)
    assert "Log it all the same" in words_of(page)
    assert not Event.objects.exists()
    seen = re.search(r'name="seen" value="([^"]+)"', page.content.decode())
    assert seen is not None
    answer = client.post(address, {**sent, "seen": rules.NOT_THERE_YET})
    assert answer.status_code == 302
    assert cast.state(specimen).conflict_count == 1
    assert "Kept, without effect: layer." in words_of(client.get(f"/specimens/{specimen.code}/"))


def test_a_warning_that_was_not_shown_is_not_confirmed(cast, as_person):
    specimen = cast.specimen()
    sent = form(kind="mortar", lot="M-1", seen="something else")
    page = as_person().post(f"/specimens/{specimen.code}/log/layer/", sent)
    assert rules.NOT_THERE_YET in words_of(page)
    assert not Event.objects.exists()


def test_a_correction_takes_the_place_of_an_entry_with_its_reason(cast, as_person):
    specimen, client = cast.specimen(), as_person("technician")
    wrong = raw_event(specimen.code, "layer", 28, {
        "kind": "fabric", "ply": 1, "lot": "F-1", "thickness": {"value": 4, "unit": "mm"},
    })  # fmt: skip
    cast.send(raw_event(specimen.code, "cast", 0, {"batch": "C"}), wrong)
    address = f"/specimens/{specimen.code}/events/{wrong['id']}/correct/"
    shown = client.get(address).content.decode()
    assert 'value="F-1"' in shown
    assert re.search(r'name="thickness" value="4(\.0)?"', shown)
    assert "Why the earlier entry was wrong" in shown
    sent = form(kind="fabric", ply="1", lot="F-2", thickness="0.2", thickness__unit="in",
                why="read from the wrong roll")  # fmt: skip
    assert client.post(address, sent).status_code == 302
    right = Event.objects.get(pk=sent["event_id"])
    assert (str(right.corrects), right.payload["lot"]) == (wrong["id"], "F-2")
    note = Event.objects.get(pk=reason_id(sent["event_id"]))
    assert note.payload["text"].endswith("read from the wrong roll")
    state = cast.state(specimen)
    assert (state.plies, state.conflict_count) == (1, 0)
    said = words_of(client.get(f"/specimens/{specimen.code}/"))
    assert "another entry of 2026-02-02 09:00 stands in its place" in said
    assert "read from the wrong roll" in said


def test_strikes_an_event_with_a_reason(cast, as_person):
    specimen, client = cast.specimen(), as_person("technician")
    begun = raw_event(specimen.code, "cast", 0, {"batch": "C"})
    cast.send(begun)
    address = f"/specimens/{specimen.code}/events/{begun['id']}/strike/"
    assert "This field is required." in words_of(client.post(address, {"event_id": new_id()}))
    assert client.post(address, {"event_id": new_id(), "why": "dreamt"}).status_code == 302
    assert cast.state(specimen).stage == "planned"
    other = cast.specimen()
    elsewhere = f"/specimens/{other.code}/events/{begun['id']}/strike/"
    assert client.get(elsewhere).status_code == 404


def test_a_technician_cannot_strike_a_judgement_by_page(cast, as_person):
    specimen = cast.specimen("P0")
    cast.log(specimen.code, "cast", 0, {"batch": "C"})
    cast.log(specimen.code, "broken", 250, {"end": "broken", "mode": MODE})
    deviation = Deviation.objects.get(specimen=specimen)
    lead = as_person("lead")
    address = f"/specimens/{specimen.code}/deviations/{deviation.pk}/judge/"
    sent = {"event_id": new_id(), "decision": "exclude", "why": "far too old"}
    assert lead.post(address, sent).status_code == 302
    deviation.refresh_from_db()
    assert (deviation.decision, deviation.why) == ("exclude", "far too old")
    said = words_of(lead.get(f"/specimens/{specimen.code}/"))
    assert "excluded : far too old" in said
    strike = f"/specimens/{specimen.code}/events/{sent['event_id']}/strike/"
    struck = as_person("technician").post(strike, {"event_id": new_id(), "why": "no"})
    assert struck.status_code == 404
    assert "Strike" in words_of(lead.get(address.partition("deviations")[0]))
    assert lead.post(strike, {"event_id": new_id(), "why": "hasty"}).status_code == 302
    assert not cast.state(specimen).is_excluded
    back = Event.objects.get(kind="corrected")
    again = f"/specimens/{specimen.code}/events/{back.pk}/strike/"
    page = as_person("technician").post(again, {"event_id": new_id(), "why": "no"})
    assert "To judge a deviation takes the role lead" in words_of(page)
    assert Event.objects.filter(kind="corrected").count() == 1


def test_the_judge_form_is_the_leads_alone(cast, as_person):
    specimen = cast.specimen("P0")
    cast.log(specimen.code, "cast", 0, {"batch": "C"})
    cast.log(specimen.code, "broken", 250, {"end": "broken", "mode": MODE})
    address = f"/specimens/{specimen.code}/"
    assert "Judge it" in words_of(as_person("lead").get(address))
    assert "Judge it" not in words_of(as_person("technician").get(address))


def test_an_incident_says_that_it_stops_nothing(cast, as_person):
    specimen, client = cast.specimen(), as_person("technician")
    page = client.get(f"/specimens/{specimen.code}/log/incident/")
    assert INCIDENT_WORDS in words_of(page)
    assert "OLD-RIG" in page.content.decode()  # offered for the machine
    sent = form(machine="OLD-RIG", words="oil on the floor")
    assert client.post(f"/specimens/{specimen.code}/log/incident/", sent).status_code == 302


def test_a_picture_is_kept_and_shown_to_those_who_see_the_work(cast, as_person):
    specimen, client = cast.specimen(), as_person("technician")
    address = f"/specimens/{specimen.code}/log/photo/"
    fake = SimpleUploadedFile("crack.png", b"<script>alert(1)</script>", "image/png")
    refused = client.post(address, form(picture=fake))
    assert NOT_A_PICTURE in words_of(refused)
    assert "Choose a picture." in words_of(client.post(address, form()))
    good = SimpleUploadedFile("crack.png", PNG, "image/png")
    assert client.post(address, form(picture=good, caption="end A")).status_code == 302
    event = Event.objects.get(kind="photo")
    shown = f"/specimens/{specimen.code}/photos/{event.payload['blob']}/"
    answer = client.get(shown)
    assert (b"".join(answer.streaming_content), answer["Content-Type"]) == (PNG, "image/png")
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert as_person("sponsor").get(shown).status_code == 404
    assert client.get(f"/specimens/{specimen.code}/photos/{'0' * 64}/").status_code == 404


def test_creates_the_planned_specimens_of_a_series_and_of_a_cell(cast, as_person):
    client = as_person("manager")
    assert "QS" in words_of(client.get("/specimens/create/"))
    page = client.get("/specimens/create/?series=QS&cell=P0")
    assert "4 specimens are planned and not created yet" in words_of(page)
    assert client.post("/specimens/create/?series=QS&cell=P0").status_code == 302
    assert Specimen.objects.count() == 4
    client.post("/specimens/create/?series=QS")
    assert Specimen.objects.count() == 8
    client.post("/specimens/create/?series=QS")
    assert Specimen.objects.count() == 8
    assert "Every planned specimen is there" in words_of(client.get("/specimens/create/?series=QS"))


def test_a_code_that_is_taken_is_said_and_nothing_is_created(cast, as_person):
    cast.series.code_template = "QS-{cell}-{n}"
    cast.series.save()
    cast.machine.code = "QS-P0-2"
    cast.machine.save()
    page = as_person().post("/specimens/create/?series=QS")
    assert "is on another label" in words_of(page)
    assert not Specimen.objects.exists()
    assert not LedgerEntry.objects.exists()


def test_labels_carry_the_code_series_cell_and_the_locations(cast, as_person):
    specimen = cast.specimen(locations=["A", "B"])
    said = words_of(as_person("technician").get("/specimens/labels/?series=QS"))
    for code in (specimen.code, f"{specimen.code}-A", f"{specimen.code}-B"):
        assert code in said
    assert "QUAYSIDE · series QS · cell P2 · no. 1" in said
    assert "3 labels" in said
    other = cast.specimen("P0")
    assert other.code not in words_of(as_person().get(f"/specimens/labels/?code={specimen.code}"))


def test_measured_values_are_entered_on_a_page(cast, as_person):
    specimen, client = cast.specimen(), as_person("manager")
    address = f"/specimens/{specimen.code}/measured/"
    assert "As known now: 31.5" in words_of(client.get(address))
    sent = {"m-fc_mpa": "33.25", "m-b_mm": "", "why": "cores"}
    assert client.post(address, sent).status_code == 302
    specimen.refresh_from_db()
    assert specimen.measured == {"fc_mpa": 33.25}
    assert "33.25 MPa measured" in words_of(client.get(f"/specimens/{specimen.code}/"))
    assert "Enter a number." in words_of(client.post(address, {"m-fc_mpa": "x", "why": "y"}))


def test_what_people_write_is_never_markup(cast, as_person):
    specimen = cast.specimen()
    evil = "<img src=x onerror=alert(1)>"
    cast.log(specimen.code, "note", 0, {"text": evil})
    cast.log(specimen.code, "layer", 1, {"kind": "mortar", "lot": evil})
    page = as_person().get(f"/specimens/{specimen.code}/").content.decode()
    assert evil not in page
    assert "&lt;img src=x" in page


def test_old_events_are_a_page_away(cast, as_person):
    specimen = cast.specimen()
    cast.send(*[raw_event(specimen.code, "note", n, {"text": f"n{n}."}) for n in range(203)])
    client, address = as_person(), f"/specimens/{specimen.code}/"
    newest = words_of(client.get(address))
    assert "n202." in newest
    assert "n2." not in newest
    oldest = words_of(client.get(address + "?events=2"))
    assert "n2." in oldest
    assert "n3." not in oldest
    assert client.get(address + "?events=x").status_code == 200


@pytest.mark.parametrize("rows", [2, 4])
def test_pages_take_the_same_queries_however_many_rows(
    cast, as_person, rows, django_assert_num_queries
):
    for _ in range(rows):
        specimen = cast.specimen()
        strike = raw_event(specimen.code, "note", 3, {"text": "x"})
        cast.send(*sound_life(specimen.code), strike)
        for _ in range(rows):
            cast.log(specimen.code, "corrected", 4, {"event": strike["id"], "why": "no"})
    client = as_person()
    client.get("/specimens/")
    with django_assert_num_queries(13):
        client.get("/specimens/?series=QS")
    with django_assert_num_queries(14):
        client.get("/specimens/QS-P2-01/")
    with django_assert_num_queries(11):
        client.get("/specimens/labels/?series=QS")
