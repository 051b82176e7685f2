"""Uploading and rebuilding from the command line."""

from __future__ import annotations

import io
import json
import uuid

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from labmatrix.evidence.models import Record
from labmatrix.evidence.services.job import job_perform
from results.models import Metric
from tests.results.scene import CHANNELS, Scene, curve_csv

CURVE = curve_csv([(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)])


def said(*arguments: str) -> str:
    out = io.StringIO()
    call_command(*arguments, stdout=out, stderr=out)
    return out.getvalue()


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "b1.csv"
    path.write_bytes(CURVE)
    return path


def test_a_file_goes_in_as_someone_and_is_reduced(cast: Scene, file):
    specimen = cast.specimen("P0-LAB")
    answer = said(
        "upload", specimen.code, "break", str(file), "--as", "technician",
        "--channels", json.dumps(CHANNELS), "--measured-at", "2026-05-01T08:00:00Z",
    )  # fmt: skip
    record = Record.objects.get()
    assert answer.split() == [str(record.id), "received"]
    assert record.received_by == str(cast.technician.id)
    job_perform(job_id=record.job_id)
    record.refresh_from_db()
    assert record.status == "reduced"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"--as": "nobody"}, "Nobody signs in as 'nobody'"),
        ({"--as": "sponsor"}, "takes the role"),
        ({"--channels": "RIG-9"}, "No channel map is saved as 'RIG-9'"),
        ({"--channels": "@/nowhere/map.json"}, "No such file"),
        ({"--reduction-settings": "{"}, "begins like JSON and is not"),
        ({"file": "/nowhere/b.csv"}, "No such file"),
        ({"--measured-at": "yesterday"}, "allowed is an ISO 8601 instant"),
    ],
)
def test_what_cannot_be_taken_is_said_and_nothing_is_kept(cast: Scene, file, change, words):
    specimen = cast.specimen("P0-LAB")
    options = {"--as": "technician", "--channels": json.dumps(CHANNELS), **change}
    path = options.pop("file", str(file))
    with pytest.raises(CommandError) as refused:
        said("upload", specimen.code, "break", path, *(x for o in options.items() for x in o))
    assert words in str(refused.value)
    assert Record.objects.count() == 0


def test_one_number_is_computed_again_to_the_last_digit(cast: Scene):
    cast.record(cast.specimen("P0-LAB").code, CURVE)
    metric = Metric.objects.get(name="yield_load", method="secant75")
    assert f"yield_load secant75 = {metric.value!r} kN" in said(
        "rebuild", "--metric", str(metric.id)
    )
    with pytest.raises(CommandError, match="There is no number"):
        said("rebuild", "--metric", str(uuid.uuid4()))


def test_a_number_that_differs_makes_the_command_fail(cast: Scene):
    cast.record(cast.specimen("P0-LAB").code, CURVE)
    Metric.objects.filter(name="peak_load").update(value=1.0)
    with pytest.raises(CommandError, match="1 reductions differ"):
        said("rebuild")
