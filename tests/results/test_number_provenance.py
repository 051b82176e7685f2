"""The page of a number is enough to follow it, and to compute it again."""

from __future__ import annotations

import hashlib
import io
import json

import pytest
from django.core.management import call_command
from django.test import Client

from conditioning.models import Sensor
from conditioning.services.sensor import calibration_add
from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.canonical import canonical_json
from results.models import Metric
from results.services.record import record_reduce_again
from tests.results.scene import CAST_AT, NOW, Scene
from tests.results.test_stored_uncertainty import SENSED, calibrate, noisy, stored


@pytest.fixture
def peak(cast: Scene) -> Metric:
    calibrate(cast, load=0.005, deflection=0.002)
    cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    return stored("peak_load")


def page_of(cast: Scene, metric: Metric, more: str = ""):
    client = Client()
    client.force_login(cast.lead)
    return client.get(f"/metrics/{metric.id}/{more}")


def test_the_inputs_can_be_kept_and_their_hash_is_the_key(cast: Scene, peak: Metric):
    answer = page_of(cast, peak, "inputs.json")
    assert hashlib.sha256(answer.content).hexdigest() == peak.reduction.key
    assert canonical_json(json.loads(answer.content)).encode() == answer.content
    assert f'filename="{peak.reduction.key}.json"' in answer["Content-Disposition"]
    page = page_of(cast, peak).content.decode()
    assert peak.reduction.key in page
    assert f"/metrics/{peak.id}/inputs.json" in page


def test_the_command_prints_what_the_page_says_that_it_prints(cast: Scene, peak: Metric):
    said = page_of(cast, peak).context["printed"]
    out = io.StringIO()
    call_command("rebuild", metric=peak.id, stdout=out)
    assert out.getvalue().splitlines() == said
    assert repr(peak.value) in said[0]
    assert repr(peak.u) in said[0]


def test_all_that_a_sceptic_asks_for_is_on_the_page(cast: Scene, peak: Metric):
    page = page_of(cast, peak)
    text = page.content.decode()
    for words in (
        "Channel map", "LC-3", "INV-LC-3", "Settings and rules", "secant through this share",
        "Strongfloor", peak.reduction.environment, "Warnings of this reduction",
        "first reduction", f"rebuild --metric {peak.id}", "Specimen as measured",
    ):  # fmt: skip
        assert words in text, words
    assert "key=" + peak.reduction.key in page.context["payload"]["finer"]["url"]


def test_old_and_new_stand_side_by_side_with_what_went_in_otherwise(cast: Scene, peak: Metric):
    record = peak.reduction.record
    calibration_add(
        actor=cast.lead, sensor=Sensor.objects.get(serial="LC-3"), calibrated_at=CAST_AT,
        factor=1.01, u_relative=0.005, now=CAST_AT,
    )  # fmt: skip
    job = record_reduce_again(actor=cast.lead, record=record, why="new certificate", now=NOW)
    job_perform(job_id=job.id)
    new = stored("peak_load")
    assert new.value == pytest.approx(1.01 * peak.value)
    (row,) = page_of(cast, new).context["others"]
    assert row["metric"].pk == peak.pk
    assert row["difference"] == pytest.approx(peak.value - new.value)
    assert row["percent"] == pytest.approx(100.0 / 1.01 - 100.0)
    assert row["apart"] == ["the calibrations in force"]
    text = page_of(cast, peak).content.decode()
    assert "Superseded" in text
    assert "new certificate" in text
    assert "the calibrations in force" in text
