"""Material tests against published factors and values exact for the stated rules."""

from __future__ import annotations

import pytest

from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.materials.bars import bar_test
from results.domain.mechanics.materials.concrete import (
    age_factor,
    cube_strength,
    cylinder_strength,
    maturity,
    maturity_of_record,
    modulus_si,
    modulus_us,
    slenderness_factor,
)
from results.domain.mechanics.materials.coupons import CouponSetup, design_strain, reduce_coupon

CAP = DEFAULT_LIMITS.value("strain-cap")


@pytest.mark.parametrize(
    ("ratio", "factor"),
    [
        (1.75, 0.98),
        (1.50, 0.96),
        (1.25, 0.93),
        (1.00, 0.87),
        (1.625, 0.97),
        (1.76, 1.0),
        (2.0, 1.0),
    ],
)
def test_slenderness_of_cylinders(ratio: float, factor: float) -> None:
    # ASTM C39, table in 8.2 (published); none above 1.75 (recalled, not re-read).
    assert slenderness_factor(ratio) == pytest.approx(factor)


def test_cylinder_and_cube() -> None:
    # Exact.
    found = cylinder_strength(load_n=250_000.0, diameter_mm=101.6, length_mm=203.2)
    assert found == pytest.approx(30.83633, abs=5e-6)
    assert cube_strength(load_n=90_000.0, side_mm=50.0) == pytest.approx(36.0)


def test_strength_with_age() -> None:
    # ACI 209R: t/(4 + 0.85 t).
    assert age_factor(7.0) == pytest.approx(0.703518, abs=5e-7)
    assert age_factor(28.0) == pytest.approx(1.007194, abs=5e-7)


def test_maturity() -> None:
    # Exact: below the datum nothing is added.
    assert maturity([(24.0, 20.0)], datum_c=0.0) == 480.0
    assert maturity([(24.0, 20.0)], datum_c=-10.0) == 720.0
    parts = [(12.0, 23.0), (6.0, 15.0), (4.0, -4.0), (2.0, 10.0)]
    assert maturity(parts, datum_c=0.0) == 386.0
    # A straight fall from 10 to −10 °C over 2 h stays above zero for 1 h: 5 °C·h.
    assert maturity_of_record([0.0, 2.0], [10.0, -10.0], datum_c=0.0) == pytest.approx(5.0)
    assert maturity_of_record([0.0, 24.0], [20.0, 20.0], datum_c=-10.0) == pytest.approx(720.0)


def test_two_forms_of_the_modulus_are_not_converted() -> None:
    # ACI 318-19, 19.2.2.1: 57 000 √4000 psi = 24 855.6 MPa, 4700 √27.579 MPa = 24 682.4 MPa.
    assert modulus_us(4000.0) == pytest.approx(24_855.6, abs=0.06)
    assert modulus_si(27.579) == pytest.approx(24_682.4, abs=0.06)


def test_offset_yield() -> None:
    # Exact: E 200 GPa, yield 420, hardening 2 GPa.
    found = bar_test([0.0, 0.0021, 0.05], [0.0, 420.0, 420.0 + 2000.0 * 0.0479])
    assert found.yield_mpa == pytest.approx(424.040, abs=5e-4)
    assert found.yield_strain == pytest.approx(0.0041202, abs=5e-8)


def test_coupon_of_two_lines() -> None:
    # Exact; method of AC434, Annex A (recalled, not re-read): width 50, 0.05 mm, one ply.
    setup = CouponSetup("clevis", 150.0, 100.0, 50.0, 0.05, 1, "data sheet")
    stress = [0.0, 300.0, 1500.0]
    found = reduce_coupon([0.0, 0.0002, 0.0102], [2.5 * value for value in stress], setup)
    assert found.largest_load_n == pytest.approx(3750.0)
    assert (found.strain_60, found.strain_90) == pytest.approx((0.0052, 0.00895))
    assert found.cracked_mpa == pytest.approx(120_000.0)
    assert found.ultimate_strain == pytest.approx(0.0102)
    assert found.transition == pytest.approx((0.0002, 300.0))
    assert found.uncracked_mpa == pytest.approx(1_500_000.0)


@pytest.mark.parametrize(
    ("strains", "design", "place"),
    [
        ([0.0171, 0.0189, 0.0165, 0.0180, 0.0158], 0.0120, 1e-12),
        ([0.0102, 0.0111, 0.0094, 0.0105, 0.0098], 0.009548, 5e-7),
    ],
)
def test_design_strain(strains: list[float], design: float, place: float) -> None:
    # Mean less one sample standard deviation, at most 0.012 (recalled, not re-read).
    assert design_strain(strains, CAP)[2] == pytest.approx(design, abs=place)
