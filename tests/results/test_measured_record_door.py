"""What no one here made goes through the same door as any record."""

from __future__ import annotations

import pytest

from results.models import Metric, Reduction
from results.services.rebuild import rebuild_all
from tests.measured_record import measured_path
from tests.results.scene import Scene

# The names as the logger wrote them, its spelling too.
CHANNELS = [
    {"column": "Lead Actuator Force", "quantity": "load", "unit": "kN"},
    {"column": "Lead Actuator Displacment", "quantity": "deflection", "unit": "mm"},
]


def test_a_reversed_record_without_time_is_read_reduced_and_rebuilt(cast: Scene):
    content = measured_path().read_bytes()
    specimen = cast.specimen("P0-LAB")
    record = cast.record(specimen.code, content, test="cyclic", channels=CHANNELS, name="lead.csv")
    assert record.status == "reduced", record.error
    reduction = Reduction.objects.get()
    assert reduction.curve["of_rows"] == 33_028
    assert max(reduction.curve["y"]) == pytest.approx(51.41, abs=0.005)
    assert min(reduction.curve["y"]) == pytest.approx(-52.46, abs=0.005)
    assert min(reduction.curve["x"]) == pytest.approx(-84.58, abs=0.005)
    names = set(Metric.objects.values_list("name", flat=True))
    assert {"secant_stiffness", "loop_energy", "cycle_peak_load"} <= names
    assert "frequency" not in names
    assert "cyclic.no-time" in {w["code"] for w in record.warnings}
    assert max(Metric.objects.filter(name="secant_stiffness").values_list("at", flat=True)) in (
        27,
        28,
    )
    assert [r.differences for r in rebuild_all()] == [()]
