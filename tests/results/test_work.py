"""Work in progress as pages follow it: what is said, to whom, how often, at what cost."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labmatrix.evidence.models import Job, Record
from labmatrix.evidence.services.job import job_perform
from labmatrix.web.models import Person
from results.services.prediction import predictions_make
from tests.results.scene import NOW, Scene, curve_csv

CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)])


def asked(person: Person, address: str, **headers: str) -> Any:
    client = Client()
    client.force_login(person)
    return client.get(address, headers=headers)


def record_of(cast: Scene, extra: int = 0) -> Record:
    cell = ("P2-LAB", "P0-LAB", "P2-WDS")[extra // 3]
    content = CURVE + b"41.0,%d\n" % (40 + extra)
    at = NOW + timedelta(seconds=extra)
    return cast.received(cast.specimen(cell).code, content, now=at)


def test_a_record_says_what_it_does_how_far_it_is_and_what_comes_next(cast: Scene):
    first, second = record_of(cast), record_of(cast, 1)
    address = f"/records/{second.id}/work/"
    found = asked(cast.technician, address).json()
    assert found["words"] == "Waiting for a worker, 1 other job before it"
    assert found["next"] == "the file is read"
    assert not found["finished"]
    Job.objects.filter(pk=second.job_id).update(
        state="running", progress=0.4, progress_words="reading b2.csv"
    )
    Record.objects.filter(pk=second.id).update(status="reading")
    found = asked(cast.technician, address).json()
    assert (found["words"], found["progress"]["fraction"]) == ("Reading b2.csv", 0.4)
    assert found["next"] == "its cycles or points are found"
    assert first.job_id is not None
    job_perform(job_id=first.job_id)
    found = asked(cast.technician, f"/records/{first.id}/work/").json()
    assert (found["status"], found["finished"], found["words"]) == ("reduced", True, "Reduced")


def test_what_has_not_changed_is_not_sent_again(cast: Scene):
    record = record_of(cast)
    for address in ("/work/state/", f"/records/{record.id}/work/", "/series/QS/work/"):
        answer = asked(cast.technician, address)
        again = asked(cast.technician, address, if_none_match=answer["ETag"])
        assert (again.status_code, again.content) == (304, b"")
        assert "private" in answer["Cache-Control"]
    Job.objects.filter(pk=record.job_id).update(progress=0.5)
    address = f"/records/{record.id}/work/"
    etag = asked(cast.technician, address)["ETag"]
    Job.objects.filter(pk=record.job_id).update(progress=0.6)
    assert asked(cast.technician, address, if_none_match=etag).status_code == 200


def test_a_series_counts_what_is_reduced_and_predicted(cast: Scene):
    record_of(cast)
    record = record_of(cast, 1)
    job = predictions_make(actor=cast.lead, series=cast.series, why="plan", now=NOW)
    found = asked(cast.lead, "/series/QS/work/").json()
    assert found["words"].startswith("2 records are being reduced and predictions are being")
    job_perform(job_id=job.id)
    assert record.job_id is not None
    job_perform(job_id=record.job_id)
    after = asked(cast.lead, "/series/QS/work/").json()
    assert after["words"] == "1 record is being reduced"
    assert after["version"] != found["version"]
    assert not after["finished"]


def test_a_record_on_a_place_of_a_specimen_counts_for_its_series(cast: Scene):
    specimen = cast.specimen("P2-LAB", locations=("A",))
    cast.received(f"{specimen.code}-A", CURVE, test="bond")
    assert asked(cast.lead, "/series/QS/work/").json()["words"] == "1 record is being reduced"


def test_others_work_is_neither_listed_nor_counted(cast: Scene):
    record = record_of(cast)
    predictions_make(actor=cast.lead, series=cast.series, why="plan", now=NOW)
    for person in (cast.sponsor, cast.stranger):
        found = asked(person, "/work/state/").json()
        assert (found["rows"], found["finished"]) == ([], True)
        assert asked(person, f"/records/work/?id={record.id}").json()["rows"] == []
        assert record.subject.code not in asked(person, "/work/").content.decode()
    page = asked(cast.technician, "/work/").content.decode()
    assert record.subject.code in page
    assert "predictions" in page
    found = asked(cast.technician, "/work/state/").json()
    assert found["words"] == "0 running, 2 waiting, 0 ended"


def test_the_page_shows_what_ended_and_why(cast: Scene):
    cast.record(cast.specimen("P2-LAB").code, b"<html><body>502</body></html>", name="x.csv")
    page = asked(cast.technician, "/work/").content.decode()
    assert "web page (HTML)" in page
    assert "Nothing is being reduced or predicted." in page


@pytest.mark.parametrize("query", ["id=many", "&".join(["id=" + "0" * 32] * 101)])
def test_a_question_that_makes_no_sense_is_refused_in_a_sentence(cast: Scene, query: str):
    answer = asked(cast.technician, f"/records/work/?{query}")
    assert answer.status_code == 400
    assert "allowed are up to 100" in answer.content.decode()


@pytest.mark.parametrize("address", ["/work/", "/work/state/", "/series/QS/work/", "/records/"])
def test_more_work_asks_no_more_queries(cast: Scene, client: Client, address: str):
    def queries() -> int:
        with CaptureQueriesContext(connection) as seen:
            assert client.get(address).status_code == 200
        return len(seen)

    client.force_login(cast.lead)
    predictions_make(actor=cast.lead, series=cast.series, why="plan", now=NOW)
    record_of(cast)
    few = queries()
    for extra in range(1, 5):
        record_of(cast, extra)
    assert queries() <= few
