"""Material reductions on noisy and odd curves, and their refusals."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.laws import stress as stress_of
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.materials.bars import bar_test, elastic_slope
from results.domain.mechanics.materials.concrete import (
    chord_modulus,
    cylinder_strength,
    maturity_of_record,
    modulus_si,
    strength_at_age,
)
from results.domain.mechanics.materials.coupons import (
    Coupon,
    CouponSetup,
    design_strain,
    design_values,
    reduce_coupon,
)

SETUP = CouponSetup("clevis", 150.0, 100.0, 50.0, 0.05, 1, "data sheet")
CLAMPED = CouponSetup("clamped", 150.0, 100.0, 50.0, 0.05, 1, "measured")


def _curve(
    first: float, second: float, knee: float, last: float, count: int = 400
) -> tuple[FloatArray, FloatArray]:
    strain = np.linspace(0.0, last, count)
    load = 2.5 * np.where(strain < knee, first * strain, first * knee + second * (strain - knee))
    return strain, load


@settings(deadline=None)
@given(
    first=st.floats(3e5, 2e6),
    second=st.floats(6e4, 2e5),
    knee=st.floats(2e-4, 8e-4),
    last=st.floats(0.008, 0.018),
)
def test_two_lines_are_found_again(first: float, second: float, knee: float, last: float) -> None:
    # The knee lies below the 0.60 crossing, else the coupon has no cracked branch to read.
    assume(first * knee < 0.55 * (first * knee + second * (last - knee)))
    found = reduce_coupon(*_curve(first, second, knee, last), SETUP)
    assert found.cracked_mpa == pytest.approx(second, rel=1e-6)
    assert found.ultimate_strain == pytest.approx(last, rel=1e-6)
    assert found.uncracked_mpa == pytest.approx(first, rel=1e-6)
    assert found.transition == pytest.approx((knee, first * knee), rel=1e-6)
    law = found.law()
    assert float(stress_of(law, np.array([last]))[0]) == pytest.approx(found.strength_mpa)


def test_noise_moves_the_lines_little() -> None:
    strain, load = _curve(1e6, 1.2e5, 3e-4, 0.011, 4000)
    noisy = load + np.random.default_rng(1).normal(0.0, 4.0, len(load))
    found = reduce_coupon(strain, noisy, SETUP)
    assert found.cracked_mpa == pytest.approx(1.2e5, rel=0.03)
    assert found.uncracked_mpa == pytest.approx(1e6, rel=0.05)
    assert found.transition is not None
    assert found.transition[0] == pytest.approx(3e-4, rel=0.1)


def test_last_upward_crossing_after_load_drops() -> None:
    # Each matrix crack drops the load; the last rise through 0.60 counts, not the first.
    strain = [0.0, 0.0002, 0.004, 0.0042, 0.006, 0.010]
    stress = [0.0, 300.0, 950.0, 700.0, 900.0, 1500.0]
    found = reduce_coupon(strain, [2.5 * value for value in stress], SETUP)
    assert found.strain_60 == pytest.approx(0.006)


def test_softening_after_the_peak_is_not_read() -> None:
    strain, load = _curve(1e6, 1.2e5, 3e-4, 0.011)
    longer = np.append(strain, [0.013, 0.020]), np.append(load, [0.4 * load[-1], 0.1 * load[-1]])
    assert reduce_coupon(*longer, SETUP) == reduce_coupon(strain, load, SETUP)


def test_curve_without_a_visible_transition_is_allowed() -> None:
    strain = np.linspace(0.0, 0.012, 200)
    found = reduce_coupon(strain, 2.5 * 1.3e5 * strain, CLAMPED)
    assert found.transition is None
    assert found.uncracked_mpa is None
    assert found.law().uncracked_mpa is None
    assert found.cracked_mpa == pytest.approx(1.3e5)


def _coupons(setup: CouponSetup, lasts: list[float]) -> list[Coupon]:
    return [reduce_coupon(*_curve(1e6, 1.2e5, 3e-4, last), setup) for last in lasts]


def test_design_values_state_their_rule() -> None:
    found = design_values(_coupons(SETUP, [0.0102, 0.0111, 0.0094]), DEFAULT_LIMITS["strain-cap"])
    assert found.count == 3
    assert not found.capped
    assert found.design_strain == pytest.approx(found.mean_strain - found.sd_strain)
    assert found.modulus_mpa == pytest.approx(1.2e5)
    assert found.design_strength_mpa == pytest.approx(1.2e5 * found.design_strain)
    assert found.rule.endswith("at most 0.012; ACI 549.4R-20 (recalled, not re-read)")
    assert design_values(_coupons(SETUP, [0.017, 0.018]), DEFAULT_LIMITS["strain-cap"]).capped


def test_two_grips_are_never_pooled() -> None:
    mixed = _coupons(SETUP, [0.010, 0.011]) + _coupons(CLAMPED, [0.012])
    with pytest.raises(ShapeError, match="tested in 2 ways") as caught:
        design_values(mixed, DEFAULT_LIMITS["strain-cap"])
    assert caught.value.code == "coupons.pooled"


def test_bar_strength_and_slope() -> None:
    strain = np.array([0.0, 0.0005, 0.001, 0.0015, 0.0021, 0.02, 0.10, 0.15])
    stress = np.array([0.0, 100.0, 200.0, 300.0, 420.0, 430.0, 610.0, 560.0])
    slope = elastic_slope(strain, stress, low_mpa=90.0, high_mpa=310.0)
    assert slope == pytest.approx(200_000.0)
    found = bar_test(strain, stress, modulus_mpa=slope)
    assert found.strength_mpa == 610.0
    assert found.strength_strain == 0.10
    assert found.strength_ratio == pytest.approx(610.0 / found.yield_mpa)


def test_chord_modulus_of_a_straight_curve() -> None:
    strain = np.linspace(0.0, 0.001, 50)
    assert chord_modulus(strain, 26_000.0 * strain, 30.0) == pytest.approx(26_000.0)


def test_strength_at_age() -> None:
    assert strength_at_age(30.0, 7.0) == pytest.approx(21.10554)


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: modulus_si(4000.0), "strength_mpa is 4000.0; allowed is from 5 to 200 MPa"),
        (
            lambda: cylinder_strength(load_n=2.5e5, diameter_mm=100.0, length_mm=80.0),
            "length / diameter is 0.8; allowed is from 1 to 2.5",
        ),
        (lambda: bar_test([0.0, 0.001, 0.0015], [0.0, 200.0, 300.0]), "0.002 offset line"),
        (lambda: bar_test([0.0, 0.001], [0.0, 200.0, 300.0]), "2 strains and 3 stresses"),
        (lambda: bar_test([0.0, float("nan"), 1.0], [0.0, 1.0, 2.0]), "not finite"),
        (lambda: elastic_slope([0, 1, 2], [0, 1, 2], low_mpa=1.5, high_mpa=1.6), "at least 3"),
        (lambda: design_strain([0.01], 0.012), "There are 1 coupons"),
        (lambda: maturity_of_record([0.0, 0.0], [1.0, 2.0], datum_c=0.0), "rising times"),
        (
            lambda: CouponSetup("glued", 150.0, 100.0, 50.0, 0.05, 1, "measured"),  # type: ignore[arg-type]
            "grip is 'glued'; allowed is one of clevis, clamped",
        ),
        (lambda: reduce_coupon([0.0, 0.1, 0.2], [5.0, 4.0, 3.0], SETUP), "rises through"),
    ],
)
def test_refuses_material_tests_that_cannot_be(build: Callable[[], object], sentence: str) -> None:
    with pytest.raises((RangeError, ShapeError)) as caught:
        build()
    assert sentence in caught.value.message
