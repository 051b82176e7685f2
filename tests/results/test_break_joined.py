"""A frame and a strain logger of one break test, on one clock."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest

from labmatrix.evidence.services.job import job_perform
from results.models import Metric, Reduction
from results.services.rebuild import rebuild_all
from results.services.record import Upload, record_receive
from tests.evidence.test_join_files import break_load
from tests.results.cyclic_files import csv_of
from tests.results.scene import NOW, Scene

MAP = [
    {"column": "t", "quantity": "time", "unit": "s", "file": "frame.csv"},
    {"column": "P", "quantity": "load", "unit": "kN", "file": "frame.csv"},
    {"column": "w", "quantity": "deflection", "unit": "mm", "file": "frame.csv"},
    {"column": "t", "quantity": "time", "unit": "s", "file": "a strain.csv"},
    {"column": "P", "quantity": "load", "unit": "kN", "file": "a strain.csv"},
    {"column": "e", "quantity": "strain", "unit": "µm/m", "place": "bar", "file": "a strain.csv"},
]
CLOCK = 77.7


def files(load: Any = break_load) -> list[Upload]:
    rng = np.random.default_rng(8)
    frame, strain = np.arange(0, 240, 0.1), np.arange(-20, 250, 0.05)
    content = {
        "frame.csv": csv_of(
            {"t": frame, "P": break_load(frame) + rng.normal(0, 0.02, 2400), "w": frame / 10}
        ),
        "a strain.csv": csv_of(
            {
                "t": strain - CLOCK,
                "P": load(strain) + rng.normal(0, 0.02, len(strain)),
                "e": 50.0 * break_load(strain),
            }
        ),
    }
    return [Upload(name, io.BytesIO(data)) for name, data in content.items()]


def received(cast: Scene, uploads: list[Upload], **settings: Any):
    record = record_receive(
        actor=cast.technician, subject_code=cast.specimen("P0-LAB").code, test="break",
        uploads=uploads, channels=MAP, settings={"seating": "none", **settings}, now=NOW,
    )  # fmt: skip
    assert record.job_id is not None
    job_perform(job_id=record.job_id)
    record.refresh_from_db()
    return record


def test_yield_by_gauge_uses_the_strain_of_the_other_file(cast: Scene):
    record = received(cast, files(), bar_yield_strain=0.0025)
    assert record.status == "reduced", record.error
    (joined,) = Reduction.objects.get().settings["joined"]
    assert (joined["reference"], joined["file"]) == ("frame.csv", "a strain.csv")
    assert joined["offset_s"] == pytest.approx(CLOCK, abs=0.01)
    assert "join.offset" in {warning["code"] for warning in record.warnings}
    found = Metric.objects.get(name="yield_load", method="gauge")
    assert found.value == pytest.approx(50.0, abs=0.3)
    assert [rebuilt.differences for rebuilt in rebuild_all()] == [()]


def test_another_test_is_refused_with_a_sentence(cast: Scene):
    record = received(cast, files(load=lambda t: 20 + 10 * np.sin(t / 3)))
    assert record.status == "refused"
    assert record.error["code"] == "join.not-convincing"


def test_a_stated_offset_that_the_load_does_not_confirm_is_refused(cast: Scene):
    record = received(cast, files(), clock_offset_s=CLOCK + 60.0)
    assert record.error["code"] == "join.not-convincing"
