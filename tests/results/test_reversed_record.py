"""Reversed cycles of growing amplitude through the door: reversals, envelopes, yield, page."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from django.test import Client

from labmatrix.evidence.models import Record
from results.models import Metric, Reduction
from results.services import cyclic_record
from results.services.rebuild import rebuild_all
from tests.measured_record import measured_path
from tests.results.scene import Scene

CHANNELS = [
    {"column": "load", "quantity": "load", "unit": "kN"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm"},
]
# The names as the logger wrote them, its spelling too.
AS_MEASURED = [
    {"column": "Lead Actuator Force", "quantity": "load", "unit": "kN"},
    {"column": "Lead Actuator Displacment", "quantity": "deflection", "unit": "mm"},
]
AMPLITUDES = (2.0, 4.0, 8.0, 16.0, 24.0, 32.0)


def skeleton(x: np.ndarray) -> np.ndarray:
    """An elastic–perfectly plastic specimen: 5 kN/mm up to 40 kN at 8 mm."""
    return np.clip(5.0 * x, -40.0, 40.0)


def content(amplitudes: tuple[float, ...] = AMPLITUDES, *, low: float = -1.0) -> bytes:
    """Two cycles at each amplitude, from ``low`` times it, along the skeleton curve itself."""
    parts = []
    for amplitude in amplitudes:
        theta = np.arange(2 * 200) / 200 * 2 * np.pi
        middle, half = amplitude * (1 + low) / 2, amplitude * (1 - low) / 2
        parts.append(middle + half * np.sin(theta))
    x = np.concatenate([*parts, [0.0]])
    rows = [f"{p:.4f},{d:.5f}" for p, d in zip(skeleton(x), x, strict=True)]
    return ("\n".join(["load,deflection", "kN,mm", *rows]) + "\n").encode()


def received(cast: Scene, data: bytes, channels: list[dict[str, Any]] = CHANNELS) -> Record:
    specimen = cast.specimen("P0-LAB")
    record = cast.record(specimen.code, data, test="cyclic", channels=channels, name="lead.csv")
    assert record.status == "reduced", record.error
    return record


def value(name: str, method: str) -> float:
    return Metric.objects.get(name=name, method=method).value


def test_a_known_skeleton_comes_back_on_both_sides(cast: Scene):
    received(cast, content())
    assert value("reversals", "deflection") == 4 * len(AMPLITUDES)
    for side in ("positive", "negative"):
        assert value("envelope_peak_load", side) == pytest.approx(40.0, abs=1e-4)
        assert value("envelope_stiffness", side) == pytest.approx(5.0, rel=0.01)
        assert value("envelope_yield_load", side) == pytest.approx(40.0, rel=0.01)
        ultimate = Metric.objects.get(name="envelope_ultimate_deflection", method=side)
        assert (ultimate.value, ultimate.bound) == (pytest.approx(32.0, abs=1e-3), "lower")
    assert [rebuilt.differences for rebuilt in rebuild_all()] == [()]


@pytest.mark.parametrize(
    "data", [content(low=0.1), content((20.0,) * 6)], ids=["one side", "one amplitude"]
)
def test_cycles_to_one_side_or_of_one_amplitude_have_no_envelope(cast: Scene, data: bytes):
    received(cast, data)
    assert "envelope" not in Reduction.objects.get().curve
    assert not Metric.objects.filter(name__startswith="envelope").exists()


def test_of_a_record_too_long_for_it_this_is_said(cast: Scene, monkeypatch):
    monkeypatch.setattr(cyclic_record, "ROWS_MAX", 1000)
    record = received(cast, content())
    assert "envelope.too-long" in {warning["code"] for warning in record.warnings}
    assert Metric.objects.filter(name="secant_stiffness").exists()


def test_the_page_draws_and_explains_what_was_found(cast: Scene, client: Client):
    record = received(cast, content())
    client.force_login(cast.technician)
    page = client.get(f"/records/{record.id}/")
    text = page.content.decode()
    assert "Reversed cycles of growing amplitude" in text
    assert f"Seen are {4 * len(AMPLITUDES)} reversals" in text
    assert "ASTM E2126" in text
    captions = [drawn["caption"] for drawn in page.context["reversed"]["figures"]]
    assert [caption.split()[0] for caption in captions] == ["Every", "Stiffness", "Energy"]
    names = [trace["name"] for trace in page.context["payload"]["data"]]
    assert {"envelope, positive side", "equal energy, negative side"} <= set(names)


@pytest.fixture
def measured(cast: Scene) -> tuple[np.ndarray, np.ndarray, Reduction]:
    """Load, deflection and the reduction of the measured record."""
    path = measured_path()
    load, deflection = np.loadtxt(path, delimiter=",", skiprows=2, unpack=True)
    received(cast, path.read_bytes(), AS_MEASURED)
    return load, deflection, Reduction.objects.get()


def test_reversals_of_the_measured_record_are_those_that_scipy_finds(measured):
    from scipy.signal import find_peaks

    _, deflection, reduction = measured
    band = reduction.settings["envelope"]["band_mm"]
    found = reduction.curve["reversals"]
    assert value("reversals", "deflection") == len(found["rows"]) == 56
    values = np.array(found["deflection_mm"])
    for sign in (1.0, -1.0):
        peaks, _ = find_peaks(sign * deflection, prominence=band)
        ours = values[sign * values > 0.0]
        # Scipy counts no extreme at the ends of the record and takes the middle of a flat top.
        theirs = deflection[peaks]
        assert len(ours) in (len(theirs), len(theirs) + 1)
        assert ours[: len(theirs)] == pytest.approx(theirs[: len(ours)], abs=1e-9)


def test_energy_of_the_measured_record_is_that_of_the_trapezoid_rule(measured):
    from scipy.integrate import trapezoid

    load, deflection, reduction = measured
    by_cycle = reduction.curve["by_cycle"]
    rows = reduction.curve["reversals"]["rows"]
    assert len(by_cycle["cycle"]) in (27, 28)
    start, stop = rows[0], rows[-1]
    whole = trapezoid(load[start : stop + 1], deflection[start : stop + 1])
    assert sum(by_cycle["energy_kn_mm"]) == pytest.approx(whole, rel=0.15)
    assert all(energy > 0.0 for energy in by_cycle["energy_kn_mm"])
    assert by_cycle["stiffness_kn_mm"][-1] == pytest.approx(0.44, abs=0.05)
    # The last cycle goes from the valley at −48.8 mm to the peak at 84.5 mm.
    assert max(by_cycle["amplitude_mm"]) == pytest.approx((84.5 + 48.8) / 2, rel=0.01)


def test_yield_of_the_measured_envelopes_encloses_the_area_under_them(measured):
    from scipy.integrate import trapezoid

    load, deflection, reduction = measured
    for side, sign in (("positive", 1.0), ("negative", -1.0)):
        drawn = reduction.curve["envelope"][side]
        x, y = (sign * np.array(drawn[name]) for name in ("x", "y"))
        picked = drawn["rows"][1:]
        assert sign * load[picked] == pytest.approx(y[1:], abs=1e-6)
        assert sign * deflection[picked] == pytest.approx(x[1:], abs=1e-6)
        ultimate = value("envelope_ultimate_deflection", side)
        fine = np.linspace(0.0, ultimate, 20_001)
        area = trapezoid(np.interp(fine, x, y), fine)
        force, at = (value(f"envelope_yield_{name}", side) for name in ("load", "deflection"))
        assert trapezoid(np.minimum(force, force / at * fine), fine) == pytest.approx(
            area, rel=1e-4
        )
    assert value("envelope_peak_load", "positive") == 51.41
    assert value("envelope_peak_load", "negative") == 52.46
