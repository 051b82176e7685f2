"""Questions on assumed errors by page and API, for every role; tables to take away."""

from __future__ import annotations

import csv
import io
from datetime import date
from typing import Any

import pytest
from django.test import Client

from conditioning.services.sensor import sensor_add
from labmatrix.evidence.services.job import job_perform
from results.domain.assumed_error import AssumedError
from results.models import Metric, WhatIf, WhatIfNumber
from results.selectors.what_if import what_if_job
from results.services.record import channel_map_save
from results.services.what_if import what_if_ask
from tests.results.access_what_if import ACCESS, ASKED, FORM
from tests.results.scene import NOW, Scene, curve_csv
from tests.specimens.access_table import WHO, Access
from tests.specimens.access_world import asked

CURVE = [(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)]


def done(what_if: WhatIf) -> WhatIf:
    """The question once its work is done."""
    job = what_if_job(what_if)
    assert job is not None
    assert job_perform(job_id=job.id)
    return WhatIf.objects.select_related("answer").get(pk=what_if.pk)


@pytest.fixture
def made(cast: Scene) -> WhatIf:
    """Two beams measured with LC-3, and the lead's question about 1 % too much, answered."""
    sensor_add(actor=cast.lead, serial="LC-3", quantity="load", unit="kN", now=NOW)
    for cell in ("P0-LAB", "P2-LAB"):
        specimen = cast.specimen(cell)
        cast.broke(specimen)
        cast.record(specimen.code, curve_csv(CURVE))
    question = what_if_ask(
        actor=cast.lead,
        errors=[AssumedError("LC-3", 1.01)],
        since=date(2026, 3, 1),
        until=None,
        why="the cell was dropped",
        now=NOW,
    )
    return done(question.what_if)


def client_of(person: Any) -> Client:
    """A person's browser."""
    client = Client()
    client.force_login(person)
    return client


def test_each_role_gets_what_the_table_says(cast: Scene, made: WhatIf):
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    wrong: list[tuple[Access, dict[str, int]]] = []
    for access in ACCESS:
        got = {who: asked(access, who, people, {"what_if": str(made.pk)}) for who in WHO}
        told = {who: answer.status_code for who, answer in got.items()}
        if told != {who: access.status_for(who) for who in WHO}:
            wrong.append((access, told))
        for who in ("sponsor", "stranger"):
            assert b"P2-LAB" not in b"".join(got[who])
    assert wrong == []


def test_the_answer_says_the_sentence_first_and_leads_to_each_number(cast: Scene, made: WhatIf):
    page = client_of(cast.technician).get(f"/what-if/{made.pk}/?kind=peak_load").content.decode()
    assert "What if LC-3 showed 1 % too much from 2026-03-01 on?" in page
    assert made.answer.said in page
    assert "of 2 specimens in 2 cells move; the largest by −0.99 %." in made.answer.said
    assert "Nothing stored is changed" in page
    assert "factor × true + offset" in page
    for metric in Metric.objects.filter(name="peak_load"):
        assert f"/metrics/{metric.pk}/" in page
    assert "Ask what would change" not in page


def test_the_question_is_asked_on_the_page(cast: Scene, made: WhatIf):
    client = client_of(cast.manager)
    assert b'value="sensor:LC-3" selected' in client.get("/what-if/new/?sensor=LC-3").content
    answer = client.post("/what-if/new/", {**FORM, "percent": "-1.5"})
    new = WhatIf.objects.exclude(pk=made.pk).get()
    assert answer["Location"] == f"/what-if/{new.pk}/"
    assert new.question["errors"][0]["factor"] == 0.985
    page = client.get(answer["Location"]).content.decode()
    assert "Waiting for a worker" in page
    told = client.get(f"/what-if/{new.pk}/progress/").json()
    assert (told["status"], told["next"]) == ("waiting", "the answer stands here")
    listed = client.get("/work/").content.decode()
    assert f"/what-if/{new.pk}/" in listed
    assert f"/what-if/{new.pk}/" not in client_of(cast.stranger).get("/work/").content.decode()
    done(new)
    assert "the largest by +1.52 %" in client.get(answer["Location"]).content.decode()


def test_the_same_question_is_told_so_and_leads_to_the_first_answer(cast: Scene, made: WhatIf):
    answer = client_of(cast.manager).post("/what-if/new/", {**FORM, "percent": "1"}, follow=True)
    assert answer.redirect_chain[-1][0] == f"/what-if/{made.pk}/"
    assert "The same was asked before" in answer.content.decode()


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"percent": ""}, "A factor of 1 and no offset is no error"),
        ({"percent": "90000"}, "too much by 90000 %; allowed is −50 to 100 %."),
        ({"percent": "one"}, "This is no number"),
        ({"since": ""}, "Give a day, such as 2026-03-01."),
        ({"until": "2026-02-01"}, "its first day must not come after its last"),
        ({"percent": "", "offset": "0.2"}, "The offset 0.2 has no unit"),
        ({"percent": "", "offset": "0.2", "unit": "mm"}, "cannot become kN"),
    ],
)
def test_what_cannot_be_asked_is_said_above_the_form(cast: Scene, made: WhatIf, changed, sentence):
    answer = client_of(cast.lead).post("/what-if/new/", {**FORM, **changed})
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    assert WhatIf.objects.count() == 1


def test_a_machines_saved_map_names_all_its_sensors(cast: Scene, made: WhatIf):
    entries = [
        {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3"},
        {"column": "w", "quantity": "deflection", "unit": "mm", "sensor": "D-1"},
    ]
    sensor_add(actor=cast.lead, serial="D-1", quantity="deflection", unit="mm", now=NOW)
    channel_map_save(actor=cast.lead, name="TEST-1 break", entries=entries, now=NOW)
    client = client_of(cast.lead)
    client.post("/what-if/new/", {**FORM, "of": "map:TEST-1 break"})
    new = WhatIf.objects.exclude(pk=made.pk).get()
    assert [error["sensor"] for error in new.question["errors"]] == ["D-1", "LC-3"]
    body = {"channel_map": "TEST-1 break", "factor": 1.02, "since": "2026-03-01", "why": "both"}
    again = client.post("/api/what-if/", body, content_type="application/json")
    assert (again.status_code, again.json()["id"]) == (200, str(new.pk))


def test_the_api_asks_and_gives_the_answer_and_pages_of_numbers(cast: Scene, made: WhatIf):
    client = client_of(cast.lead)
    offset = {**ASKED["errors"][0], "offset": {"value": 200, "unit": "N"}}
    sent = client.post(
        "/api/what-if/", {**ASKED, "errors": [offset]}, content_type="application/json"
    )
    assert (sent.status_code, sent.json()["status"]) == (202, "waiting")
    assert sent.json()["asked_before"] is False
    found = client.get("/api/what-if/?page_size=1").json()
    assert (found["count"], len(found["results"])) == (2, 1)
    whole = client.get(f"/api/what-if/{made.pk}/").json()
    assert whole["answer"]["said"] == made.answer.said
    assert whole["changed_since"] == []
    assert whole["answer"]["basis"]["reductions"]
    numbers = client.get(f"/api/what-if/{made.pk}/numbers/?moves=true&page_size=2").json()
    assert numbers["count"] == WhatIfNumber.objects.filter(moves=True).count() > 2
    assert len(numbers["results"]) == 2
    (peak, _) = client.get(f"/api/what-if/{made.pk}/numbers/?name=peak_load").json()["results"]
    assert peak["old"] == {"value": 72.0, "bound": None}
    assert peak["new"]["value"] == pytest.approx(72.0 / 1.01)
    none = client.get(f"/api/what-if/{sent.json()['id']}/numbers/").json()
    assert none["count"] == 0


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"since": "2026-03-01", "why": "x"}, "what-if.no-sensor"),
        ({**ASKED, "errors": [{"sensor": "LC-99", "factor": 1.01}]}, "what-if.sensor-unknown"),
        ({**ASKED, "errors": [], "channel_map": "none such"}, "channels.map-unknown"),
        ({**ASKED, "errors": [{"sensor": "a\x00b", "factor": 1.01}]}, None),
        ({**ASKED, "errors": [{"sensor": "LC-3", "factor": float("nan")}]}, None),
        ({**ASKED, "errors": 3}, None),
        ({**ASKED, "since": "March"}, None),
        ([], None),
        ("x", None),
    ],
)
def test_the_api_refuses_in_a_sentence(cast: Scene, made: WhatIf, body, code):
    client = client_of(cast.lead)
    answer = client.post("/api/what-if/", body, content_type="application/json")
    assert answer.status_code == 400
    assert set(answer.json()) == {"code", "message", "facts"}
    assert code in (None, answer.json()["code"])


def test_the_tables_are_taken_away_with_question_and_convention(cast: Scene, made: WhatIf):
    client = client_of(cast.technician)
    content = client.get(f"/what-if/{made.pk}/table.csv").content.decode("utf-8-sig")
    rows = list(csv.reader(io.StringIO(content)))
    head = next(r for r in rows if r[:1] == ["Specimen"])
    assert head[5:9] == [
        "Unit",
        "As it stands [in its unit]",
        "As it would be [in its unit]",
        "Change [%]",
    ]
    peak = next(r for r in rows if len(r) > 3 and r[3] == "peak load")
    assert (peak[5], float(peak[6])) == ("kN", 72.0)
    assert float(peak[7]) == pytest.approx(72 / 1.01)
    foot = "\n".join(r[0] for r in rows[-5:] if r)
    assert "What if LC-3 showed 1 % too much" in foot
    assert "nothing stored was changed" in foot
    assert "Invented data" in foot
    assert client.get(f"/what-if/{made.pk}/table.xlsx").content[:2] == b"PK"
    assert client.get(f"/what-if/{made.pk}/table.tex").status_code == 400


def test_sensor_and_number_lead_to_the_question_for_who_may_ask(cast: Scene, made: WhatIf):
    metric = Metric.objects.filter(name="peak_load").first()
    assert metric is not None
    for path in ("/sensors/of/LC-3/", f"/metrics/{metric.pk}/"):
        assert "/what-if/new/?sensor=LC-3" in client_of(cast.lead).get(path).content.decode()
        assert "/what-if/new/" not in client_of(cast.technician).get(path).content.decode()


def test_an_answer_out_of_date_says_so(cast: Scene, made: WhatIf):
    other = cast.specimen("P2-LAB")
    cast.record(other.code, curve_csv(CURVE))
    page = client_of(cast.lead).get(f"/what-if/{made.pk}/").content.decode()
    assert "Out of date." in page
    assert "1 reduction measured with the sensor has come in" in page
