"""Coupons, bars, cylinders and cubes through the record door; what has no default is asked for."""

from __future__ import annotations

import math

import numpy as np
import pytest

from labmatrix.evidence.models import Record
from labmatrix.kernel.errors import ShapeError
from results.models import Metric, Reduction
from specimens.models import Lot
from specimens.services.lot import lot_add
from tests.results.scene import NOW

pytestmark = pytest.mark.django_db

COUPON = {"grip": "clevis", "bond_length_mm": 150, "gauge_length_mm": 100, "width_mm": 50}
STRAIN_MAP = [
    {"column": "load", "quantity": "load", "unit": "N"},
    {"column": "strain", "quantity": "strain", "unit": "mm/mm"},
]
TRAVEL_MAP = [
    {"column": "load", "quantity": "load", "unit": "N"},
    {"column": "travel", "quantity": "deflection", "unit": "mm"},
]


def csv(head: str, *columns) -> bytes:
    rows = [head, *(",".join(f"{v:.9g}" for v in row) for row in zip(*columns, strict=True))]
    return ("\n".join(rows) + "\n").encode()


def two_lines(first=1.5e6, second=1.2e5, knee=2e-4, last=0.0102, n=300):
    """The exact curve: (0, 0) (0.0002, 300) (0.0102, 1500) on 2.5 mm²."""
    strain = np.unique(np.append(np.linspace(0.0, last, n), np.linspace(0.0, knee, 12)))
    stress = np.where(strain < knee, first * strain, first * knee + second * (strain - knee))
    return strain, 2.5 * stress


@pytest.fixture
def fabric(cast) -> Lot:
    return lot_add(
        actor=cast.lead, programme=cast.programme, code="QP-1", kind="fabric", title="Quay P",
        specified={"ply_thickness_mm": 0.05}, source="data sheet, invented", now=NOW,
    )  # fmt: skip


@pytest.fixture
def heat(cast) -> Lot:
    return lot_add(
        actor=cast.lead, programme=cast.programme, code="QB-1", kind="bar", title="12 mm",
        specified={"bar_diameter_mm": 12.0}, source="design", now=NOW,
    )  # fmt: skip


def found(record: Record) -> dict[str, Metric]:
    assert record.status == "reduced", record.error
    return {m.name: m for m in Metric.objects.filter(reduction__record=record)}


def test_a_coupon_of_two_lines_to_the_last_digit(cast, fabric):
    # Exact; method of AC434, Annex A (recalled, not re-read): width 50, 0.05 mm, one ply.
    content = csv("strain,load", *two_lines())
    record = cast.record("QP-1", content, test="coupon", channels=STRAIN_MAP, settings=COUPON)
    n = found(record)
    assert n["coupon_peak_load"].value == pytest.approx(3.75)
    assert n["coupon_strength"].value == pytest.approx(1500.0)
    assert n["coupon_cracked_modulus"].value == pytest.approx(120_000.0)
    assert n["coupon_ultimate_strain"].value == pytest.approx(0.0102)
    assert n["coupon_uncracked_modulus"].value == pytest.approx(1.5e6, rel=1e-6)
    assert n["coupon_transition_strain"].value == pytest.approx(2e-4, rel=1e-6)
    assert n["coupon_transition_stress"].value == pytest.approx(300.0, rel=1e-6)
    assert {m.method for m in n.values()} == {"clevis"}
    used = Reduction.objects.get(record=record).settings
    assert used["ply_thickness_mm"] == 0.05
    assert used["area_mm2"] == pytest.approx(2.5)


def test_elongation_is_divided_by_the_gauge_length(cast, fabric):
    strain, load = two_lines()
    content = csv("travel,load", 100.0 * strain, load)
    record = cast.record("QP-1", content, test="coupon", channels=TRAVEL_MAP, settings=COUPON)
    n = found(record)
    assert n["coupon_ultimate_strain"].value == pytest.approx(0.0102)
    # The marks stand on the curve as it is drawn, over elongation.
    assert n["coupon_ultimate_strain"].point["deflection_mm"] == pytest.approx(1.02)


@pytest.mark.parametrize("missing", sorted(COUPON))
def test_what_nobody_can_guess_is_asked_for(cast, fabric, missing):
    settings = {name: value for name, value in COUPON.items() if name != missing}
    content = csv("strain,load", *two_lines())
    record = cast.record("QP-1", content, test="coupon", channels=STRAIN_MAP, settings=settings)
    assert record.status == "refused"
    assert record.error["code"] == "reduction.setting-missing"
    assert f"do not give {missing};" in record.error["message"]


def test_a_grip_that_is_none_is_refused_at_the_door(cast, fabric):
    with pytest.raises(ShapeError) as refused:
        cast.received("QP-1", b"strain,load\n", test="coupon", channels=STRAIN_MAP,
                      settings={**COUPON, "grip": "glued"})  # fmt: skip
    assert refused.value.code == "reduction.setting-value"
    assert "'glued'" in refused.value.message


def test_a_curve_without_transition_says_so(cast, fabric):
    strain = np.linspace(0.0, 0.012, 200)
    content = csv("strain,load", strain, 2.5 * 1.3e5 * strain)
    record = cast.record("QP-1", content, test="coupon", channels=STRAIN_MAP, settings=COUPON)
    assert "coupon_uncracked_modulus" not in found(record)
    assert "coupon.no-transition" in {w["code"] for w in record.warnings}


def test_noise_gives_an_uncertainty_that_covers_the_truth(cast, fabric):
    strain, load = two_lines(n=2000)
    rng = np.random.default_rng(3)
    content = csv("strain,load", strain, load + rng.normal(0.0, 8.0, load.size))
    record = cast.record("QP-1", content, test="coupon", channels=STRAIN_MAP, settings=COUPON)
    modulus = found(record)["coupon_cracked_modulus"]
    assert modulus.u is not None
    assert 0.0 < modulus.u < 0.05 * modulus.value
    assert abs(modulus.value - 120_000.0) < 5.0 * modulus.u


def test_a_bar_gives_the_offset_yield(cast, heat):
    # Exact: E 200 GPa, yield 420, hardening 2 GPa gives 424.040 at 0.0041202.
    area = math.pi * 144 / 4
    strain = np.unique(np.concatenate([np.linspace(0, 0.0021, 60), np.linspace(0.0021, 0.05, 60)]))
    stress = np.where(strain < 0.0021, 2e5 * strain, 420.0 + 2000.0 * (strain - 0.0021))
    content = csv("strain,load", strain, stress * area)
    n = found(cast.record("QB-1", content, test="bar", channels=STRAIN_MAP))
    assert n["bar_modulus"].value == pytest.approx(200_000.0, rel=1e-6)
    assert n["bar_yield_stress"].value == pytest.approx(424.040, abs=2e-3)
    assert n["bar_strength"].value == pytest.approx(420.0 + 2000.0 * 0.0479)


def test_a_bar_of_unknown_diameter_is_asked_for(cast):
    lot_add(actor=cast.lead, programme=cast.programme, code="QB-2", kind="bar", title="?", now=NOW)
    content = csv("strain,load", *two_lines())
    record = cast.record("QB-2", content, test="bar", channels=STRAIN_MAP)
    assert record.error["code"] == "reduction.setting-missing"
    assert "diameter_mm" in record.error["message"]


def test_a_cylinder_and_a_cube_from_their_loads(cast):
    # Exact: 101.6 mm and 250 kN give 30.83633 MPa; a cube of 50 mm and 90 kN gives 36.0.
    lot_add(actor=cast.lead, programme=cast.programme, code="QC-1", kind="concrete", title="C30",
            now=NOW)  # fmt: skip
    ramp = np.linspace(0.0, 1.0, 50)
    only_load = [{"column": "load", "quantity": "load", "unit": "kN"}]
    one = cast.record("QC-1", csv("load,row", 250.0 * ramp, ramp), test="cylinder",
                      channels=only_load,
                      settings={"diameter_mm": 101.6, "length_mm": 203.2})  # fmt: skip
    assert found(one)["cylinder_strength"].value == pytest.approx(30.83633, abs=5e-6)
    two = cast.record("QC-1", csv("load,row", 90.0 * ramp, ramp), test="cube", channels=only_load,
                      settings={"side_mm": 50, "conversion": "EN 206 classes"})  # fmt: skip
    n = found(two)
    assert n["cube_strength"].value == pytest.approx(36.0)
    # Straight between C25/30 and C30/37: 25 + 5 · 6/7.
    assert n["cylinder_strength"].value == pytest.approx(25.0 + 5.0 * 6.0 / 7.0)
    assert n["cylinder_strength"].method == "EN 206 classes"


def test_a_load_alone_is_no_coupon(cast, fabric):
    content = csv("load,row", np.linspace(0, 1, 30), np.arange(30))
    channels = [{"column": "load", "quantity": "load", "unit": "kN"}]
    record = cast.record("QP-1", content, test="coupon", settings=COUPON, channels=channels)
    assert record.error["code"] == "channels.quantity-missing"
    assert "neither strain nor an elongation" in record.error["message"]
