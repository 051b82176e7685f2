"""The pages of records, numbers and comparison, as a person meets them."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from conditioning.services.sensor import calibration_add, sensor_add
from labmatrix.evidence.models import ChannelMapSaved, Record
from results.models import Metric
from tests.results.scene import CAST_AT, Scene, curve_csv

CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)])


@pytest.fixture
def as_technician(cast: Scene, client: Client) -> Client:
    client.force_login(cast.technician)
    return client


def looked(client: Client, subject: str, content: bytes, **more: Any) -> Any:
    """The answer to the first step of an upload."""
    file = SimpleUploadedFile("b1.csv", content)
    body = {"subject": subject, "test": "break", "uploaded": file, "cycle_offset": 0, **more}
    return client.post("/records/new/", body)


def test_a_record_in_every_state_has_a_page(cast: Scene, client: Client):
    client.force_login(cast.lead)
    specimen = cast.specimen("P2-LAB")
    waiting = cast.received(specimen.code, CURVE, name="waiting.csv")
    for status in ("received", "reading", "reducing"):
        Record.objects.filter(pk=waiting.pk).update(status=status)
        page = client.get(f"/records/{waiting.id}/").content.decode()
        assert "data-progress-url" in page
    reduced = cast.record(specimen.code, CURVE)
    page = client.get(f"/records/{reduced.id}/").content.decode()
    assert "data-progress-url" not in page
    assert str(Metric.objects.get(name="peak_load").id) in page
    refused = cast.record(specimen.code, b"<html><body>502</body></html>", name="x.csv")
    page = client.get(f"/records/{refused.id}/").content.decode()
    assert "web page (HTML)" in page


def test_a_number_leads_to_everything_that_it_came_from(cast: Scene, client: Client):
    client.force_login(cast.lead)
    record = cast.record(cast.specimen("P2-LAB").code, CURVE)
    metric = Metric.objects.get(name="yield_load", method="secant75")
    page = client.get(f"/metrics/{metric.id}/").content.decode()
    file = record.files.get()
    for told in (metric.reduction.key, file.blob_id, "LC-3", f"rebuild --metric {metric.id}"):
        assert told in page


def test_a_calibrated_sensor_is_told_with_its_calibration(cast: Scene, client: Client):
    client.force_login(cast.lead)
    sensor = sensor_add(actor=cast.lead, serial="LC-3", quantity="load", unit="kN", now=CAST_AT)
    calibration_add(
        actor=cast.lead,
        sensor=sensor,
        calibrated_at=CAST_AT,
        factor=1.01,
        u_relative=0.005,
        certificate="K-77",
        now=CAST_AT,
    )
    cast.record(cast.specimen("P2-LAB").code, CURVE)
    metric = Metric.objects.get(name="peak_load")
    assert metric.value == pytest.approx(72.72)
    page = client.get(f"/metrics/{metric.id}/").content.decode()
    assert "K-77" in page
    assert "2026-01-05" in page


def test_looking_first_shows_the_file_with_a_proposed_map(cast: Scene, as_technician: Client):
    specimen = cast.specimen("P2-LAB")
    page = looked(as_technician, specimen.code, CURVE)
    assert page.status_code == 200
    assert "deflection,load" in page.content.decode()
    assert Record.objects.count() == 0


def test_a_broken_file_is_refused_on_the_spot_with_its_sentence(cast: Scene, as_technician):
    specimen = cast.specimen("P2-LAB")
    for content, words in ((b"", "empty"), (b"\x89PNG\r\n\x1a\n" + bytes(99), "PNG")):
        page = looked(as_technician, specimen.code, content)
        assert words in page.content.decode()
        assert Record.objects.count() == 0


def test_a_saved_map_takes_the_record_in_at_once(cast: Scene, as_technician: Client):
    specimen = cast.specimen("P2-LAB")
    entries = cast.received(specimen.code, CURVE).channel_map["entries"]
    ChannelMapSaved.objects.create(
        name="RIG-1", version=1, entries=entries, saved_at="2026-01-01T00:00:00Z"
    )
    answer = looked(as_technician, specimen.code, CURVE + b"41.0,49.0\n", channels="RIG-1")
    assert answer.status_code == 302
    assert Record.objects.count() == 2


def test_a_raw_file_is_given_back_byte_for_byte_and_is_never_run(cast: Scene, as_technician):
    record = cast.record(cast.specimen("P2-LAB").code, CURVE)
    answer = as_technician.get(f"/records/{record.id}/files/0/")
    assert b"".join(answer.streaming_content) == CURVE
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["X-Content-Type-Options"] == "nosniff"


@pytest.mark.parametrize("query", ["control=best", "include=some", "at=many"])
def test_a_comparison_that_makes_no_sense_is_said_and_the_page_stands(cast, client, query):
    client.force_login(cast.lead)
    cast.record(cast.specimen("P2-LAB").code, CURVE)
    answer = client.get(f"/series/QS/comparison/?{query}")
    assert answer.status_code == 400
    assert "allowed" in answer.content.decode()


def queries(client: Client, address: str) -> int:
    with CaptureQueriesContext(
        connection,
    ) as seen:
        assert client.get(address).status_code == 200
    return len(seen)


@pytest.mark.parametrize("address", ["/records/", "/series/QS/comparison/", "/series/QS/plate/"])
def test_more_rows_ask_no_more_queries(cast: Scene, client: Client, address: str):
    client.force_login(cast.lead)
    for cell in ("P2-LAB", "P0-LAB"):
        cast.record(cast.specimen(cell).code, CURVE)
    few = queries(client, address)
    for cell in ("P2-LAB", "P2-WDS", "P0-LAB", "P0-WDS"):
        cast.record(cast.specimen(cell).code, CURVE)
    assert queries(client, address) <= few
