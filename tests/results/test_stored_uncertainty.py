"""The uncertainty of a number is stored with it, with where it comes from, and rebuilt with it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from django.test import Client

from conditioning.services.sensor import calibration_add, sensor_add
from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import bind_map
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.table import TableHead
from results.models import Metric, Reduction
from results.services.rebuild import rebuild_all
from tests.results.cyclic_files import columns_of, csv_of
from tests.results.cyclic_signals import fatigue_record
from tests.results.scene import CAST_AT, Scene

CURVE = [(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (10.0, 66.0), (25.0, 72.0), (35.0, 60.0), (40.0, 50)]
SENSED: list[dict[str, str]] = [
    {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm", "sensor": "LVDT-2"},
]


def noisy(seed: int = 1, noise_kn: float = 0.05) -> bytes:
    """A break test as a logger writes it, two and three decimals; invented."""
    rng = np.random.default_rng(seed)
    x = np.concatenate([np.zeros(100), np.linspace(0.0, 40.0, 1500)])
    y = np.interp(x, *zip(*CURVE, strict=True)) + rng.normal(0.0, noise_kn, len(x))
    lines = [f"{a:.3f},{b:.2f}" for a, b in zip(x, y, strict=True)]
    return "\n".join(["deflection,load", "mm,kN", *lines, ""]).encode()


def calibrate(cast: Scene, load: float, deflection: float) -> None:
    """Both sensors with calibrations in force; relative standard uncertainties, invented."""
    for serial, quantity, unit, u in (
        ("LC-3", "load", "kN", load),
        ("LVDT-2", "deflection", "mm", deflection),
    ):
        sensor = sensor_add(
            actor=cast.lead, serial=serial, quantity=quantity, unit=unit, now=CAST_AT
        )
        calibration_add(
            actor=cast.lead, sensor=sensor, calibrated_at=CAST_AT, factor=1.0, u_relative=u,
            certificate=f"INV-{serial}", now=CAST_AT,
        )  # fmt: skip


def stored(name: str, **more: object) -> Metric:
    return Metric.objects.get(name=name, reduction__is_current=True, **more)


def test_a_break_number_has_its_uncertainty_and_where_it_comes_from(cast: Scene):
    calibrate(cast, load=0.005, deflection=0.002)
    record = cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    assert record.status == "reduced", record.error
    peak = stored("peak_load")
    assert peak.u == pytest.approx(0.005 * peak.value, rel=0.02)
    assert peak.budget["u"] == peak.u
    rows = {row["source"]: row for row in peak.budget["rows"]}
    scale = rows["scale of load: LC-3, INV-LC-3"]
    assert (scale["value"], scale["u"], scale["dof"]) == (1.0, 0.005, None)
    assert scale["contribution"] == pytest.approx(0.005 * peak.value, rel=1e-6)
    assert math.hypot(*(row["contribution"] for row in rows.values())) == pytest.approx(peak.u)


def test_without_calibration_it_is_said_what_is_left_out(cast: Scene):
    record = cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    told = [w["message"] for w in record.warnings if w["code"] == "uncertainty.no-calibration"]
    assert [" load " in told[0], " deflection " in told[1], len(told)] == [True, True, 2]
    peak = stored("peak_load")
    assert [row["source"] for row in peak.budget["rows"]] == [
        "scatter of the record (noise and resolution)"
    ]
    assert 0.0 < peak.u < 0.2


def test_a_cycle_number_has_its_uncertainty_too(cast: Scene):
    calibrate(cast, load=0.005, deflection=0.002)
    content = csv_of(columns_of(fatigue_record(cycles=20, noise_kn=0.02, seed=3)))
    channels = [{"column": "time", "quantity": "time", "unit": "s"}, *SENSED]
    record = cast.record(
        cast.specimen("P2-LAB").code, content, test="cyclic", channels=channels,
        settings={"checkpoints": [1, 10]},
    )  # fmt: skip
    assert record.status == "reduced", record.error
    stiffness = stored("secant_stiffness", at=10)
    assert stiffness.u == pytest.approx(math.hypot(0.005, 0.002) * stiffness.value, rel=0.1)
    assert stiffness.budget["method"] == "first order"


def test_a_rebuild_compares_the_uncertainty_as_well(cast: Scene):
    calibrate(cast, load=0.005, deflection=0.002)
    cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    assert [rebuilt.differences for rebuilt in rebuild_all()] == [()]
    peak = stored("peak_load")
    Metric.objects.filter(pk=peak.pk).update(u=2.0 * peak.u)
    (rebuilt,) = rebuild_all()
    (words,) = rebuilt.differences
    assert words.startswith("the uncertainty of peak_load")


def test_another_calibration_makes_the_number_out_of_date(cast: Scene, client: Client):
    calibrate(cast, load=0.005, deflection=0.002)
    cast.record(cast.specimen("P2-LAB").code, noisy(), channels=SENSED)
    reduction = Reduction.objects.get()
    sensor = sensor_add(actor=cast.lead, serial="LC-9", quantity="load", unit="kN", now=CAST_AT)
    client.force_login(cast.lead)
    address = f"/metrics/{stored('peak_load').id}/"
    assert "Out of date" not in client.get(address).content.decode()
    calibration_add(
        actor=cast.lead, sensor=type(sensor).objects.get(serial="LC-3"), calibrated_at=CAST_AT,
        factor=1.0, u_relative=0.01, now=CAST_AT,
    )  # fmt: skip
    assert "the calibrations in force changed" in client.get(address).content.decode()
    assert Reduction.objects.get().key == reduction.key


def bound(unit: str, scale: float):
    entry = {"column": "load", "quantity": "load", "unit": unit, "scale": scale}
    head = TableHead((Column("load", unit),))
    (one,) = bind_map({"a.csv": head}, ChannelMap.from_data([entry])).channels
    return one


@pytest.mark.parametrize(
    ("unit", "scale", "decimals", "step"),
    [("kN", 1.0, 2, 0.01), ("N", 1.0, 0, 0.001), ("kN", 2.5, 1, 0.25), ("kN", 1.0, None, 0.0)],
)
def test_the_step_of_a_channel_follows_its_decimals(unit, scale, decimals, step):
    assert bound(unit, scale).step(decimals) == pytest.approx(step, rel=1e-12)
