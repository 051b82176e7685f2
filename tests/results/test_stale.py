"""Reductions whose inputs changed later: who sees them, and all of them once more."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from conditioning.models import Sensor
from conditioning.services.sensor import calibration_add
from labmatrix.evidence.models import Job, LedgerEntry
from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.errors import NotFound
from results.models import Metric, Reduction
from results.services.inputs import reduction_inputs
from results.services.methods import BreakMethod
from results.services.stale import stale_list, stale_reduce_again
from tests.results.scene import CAST_AT, NOW, Scene
from tests.results.test_stored_uncertainty import SENSED, calibrate, noisy, stored


@pytest.fixture
def measured(cast: Scene) -> Scene:
    calibrate(cast, load=0.005, deflection=0.002)
    for seed, cell in enumerate(("P2-LAB", "P0-LAB")):
        cast.record(cast.specimen(cell).code, noisy(seed), channels=SENSED)
    return cast


def recalibrate(cast: Scene, factor: float = 1.01) -> None:
    calibration_add(
        actor=cast.lead, sensor=Sensor.objects.get(serial="LC-3"), calibrated_at=CAST_AT,
        factor=factor, u_relative=0.005, now=CAST_AT,
    )  # fmt: skip


def perform_all() -> None:
    for job in Job.objects.filter(state=Job.State.WAITING):
        job_perform(job_id=job.pk)


def client_of(cast: Scene, who: str) -> Client:
    client = Client()
    client.force_login(getattr(cast, who))
    return client


def test_nothing_is_out_of_date_at_first(measured: Scene):
    assert stale_list(actor=measured.lead) == []
    assert "Nothing is out of date" in client_of(measured, "lead").get("/records/stale/").text


def test_another_calibration_and_a_late_event_are_found(measured: Scene):
    recalibrate(measured)
    specimen = measured.specimens["QS-P2-LAB-01"]
    measured.log(
        specimen, "pre-cracked", CAST_AT.replace(day=20), {"load": {"value": 20.0, "unit": "kN"}}
    )
    found = {one.record.subject.code: one.changed for one in stale_list(actor=measured.manager)}
    assert found == {
        "QS-P2-LAB-01": (
            "the specimen as measured, or what was done to it before",
            "the calibrations in force",
        ),
        "QS-P0-LAB-01": ("the calibrations in force",),
    }


def test_a_newer_version_of_a_reduction_is_found(measured: Scene, monkeypatch):
    monkeypatch.setattr(BreakMethod, "version", "next")
    found = stale_list(actor=measured.lead)
    assert [one.changed for one in found] == [("the version of the reduction",)] * 2


def test_one_button_reduces_all_again_and_each_supersedes_with_its_reason(measured: Scene):
    before = {m.reduction.record_id: m for m in Metric.objects.filter(name="peak_load")}
    recalibrate(measured)
    client = client_of(measured, "manager")
    page = client.get("/records/stale/")
    assert "2 records show numbers" in page.text
    assert "Reduce 2 records again" in page.text
    answer = client.post("/records/stale/", follow=True)
    assert "Asked for 2 reductions." in answer.text
    assert "All of them are being reduced." in answer.text
    perform_all()
    assert stale_list(actor=measured.manager) == []
    for old in before.values():
        new = stored("peak_load", reduction__record=old.reduction.record_id)
        assert new.value == pytest.approx(1.01 * old.value)
        superseded = Reduction.objects.get(pk=old.reduction_id)
        assert superseded.superseded_by == new.reduction
        assert new.reduction.why == "brought up to date: the calibrations in force changed"
    asked = LedgerEntry.objects.filter(kind="reduction-request").order_by("-seq")[:2]
    assert {entry.actor for entry in asked} == {str(measured.manager.pk)}


def test_what_is_being_reduced_already_is_left_alone(measured: Scene):
    recalibrate(measured)
    assert len(stale_reduce_again(actor=measured.lead, now=NOW)) == 2
    assert stale_reduce_again(actor=measured.lead, now=NOW) == []
    assert [one.is_working for one in stale_list(actor=measured.lead)] == [True, True]


def test_only_those_who_may_and_only_what_is_theirs(measured: Scene):
    recalibrate(measured)
    for who in ("technician", "sponsor"):
        with pytest.raises(NotFound):
            stale_reduce_again(actor=getattr(measured, who), now=NOW)
    assert stale_list(actor=measured.stranger) == []
    assert stale_reduce_again(actor=measured.stranger, now=NOW) == []


def test_the_api_lists_and_asks(measured: Scene):
    recalibrate(measured)
    client = client_of(measured, "lead")
    told = client.get("/api/reductions/stale/").json()
    assert told["count"] == 2
    assert told["results"][0]["changed"] == ["the calibrations in force"]
    answer = client.post("/api/reductions/stale/")
    assert (answer.status_code, answer.json()["count"]) == (202, 2)


def test_the_list_asks_for_no_more_with_more_records(measured: Scene):
    def queries() -> int:
        with CaptureQueriesContext(
            connection,
        ) as found:
            stale_list(actor=measured.lead)
        return len(found)

    few = queries()
    for seed in (7, 8, 9):
        measured.record(measured.specimen("P2-WDS").code, noisy(seed), channels=SENSED)
    assert queries() == few


def test_gathered_inputs_are_those_of_each_alone(measured: Scene):
    recalibrate(measured)
    for one in stale_list(actor=measured.lead):
        assert reduction_inputs(one.record)["calibrations"][0]["factor"] == 1.01
