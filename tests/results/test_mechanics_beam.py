"""Beam set-ups, the mean curvature, load–deflection curves and shear as rules."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.beam_response import CurvatureLaw, beam_curve, mean_curvature
from results.domain.mechanics.beam_setup import BeamSetup, four_point, three_point
from results.domain.mechanics.effective_inertia import INERTIA_FORMS, effective_inertia
from results.domain.mechanics.elastic import gross_section
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import ParabolaRectangle
from results.domain.mechanics.moment_curvature import diagram
from results.domain.mechanics.shear import ShearStrength, Stirrups, shear_strength
from tests.reference.mechanics_members import MODULUS, bm1

GROSS = gross_section(bm1(0), MODULUS)
CRACKING = 10.1876e6
SETUP = four_point(2400.0, 900.0, self_weight_n_per_mm=1.44, spreader_n=600.0)


def _law(plies: int, *, already_cracked: bool = False, stiffening: float = 1.0) -> CurvatureLaw:
    return mean_curvature(
        diagram(FibreModel(bm1(plies), ParabolaRectangle(30.0))),
        uncracked=GROSS,
        cracking_nmm=CRACKING,
        already_cracked=already_cracked,
        stiffening=stiffening,
    )


@given(
    load=st.floats(0.0, 1e6),
    span=st.floats(500.0, 9000.0),
    share=st.floats(0.1, 0.5),
    weight=st.floats(0.0, 20.0),
    spreader=st.floats(0.0, 5000.0),
)
def test_load_and_moment_are_inverse(
    load: float, span: float, share: float, weight: float, spreader: float
) -> None:
    setup = BeamSetup("four-point", span, span * share, weight, spreader, 0.05 * span)
    assert setup.load_n(setup.moment_nmm(load)) == pytest.approx(load, abs=1e-3)
    assert setup.load_for_shear_n(setup.shear_n(load, 50.0), 50.0) == pytest.approx(load, abs=1e-3)


def test_reactions_carry_everything() -> None:
    setup = four_point(
        2400.0, 900.0, self_weight_n_per_mm=1.44, spreader_n=600.0, overhang_mm=100.0
    )
    assert 2 * setup.reaction_n(40_000.0) == pytest.approx(40_000.0 + 600.0 + 1.44 * 2600.0)
    # The overhangs lift the mid-span moment by w o²/2.
    assert setup.dead_moment_nmm == pytest.approx(1.44 * (2400**2 / 8 - 100**2 / 2) + 300.0 * 900.0)


def test_curvature_law_is_continuous_at_first_cracking() -> None:
    law = _law(2)
    near = law.at(CRACKING * np.array([0.999, 1.001]))
    assert near[1] == pytest.approx(near[0], rel=0.02)
    assert np.all(np.diff(law.curvatures) >= 0.0)
    assert law.at(np.array([-5e6]))[0] == -law.at(np.array([5e6]))[0]


def test_bare_cracked_section_jumps_at_the_cracking_moment() -> None:
    law = _law(2, stiffening=0.0)
    near = law.at(CRACKING * np.array([0.9999, 1.0001]))
    assert near[1] > 2.5 * near[0]


def test_repeated_loading_makes_a_cracked_member_softer_below_its_cracking_moment() -> None:
    first, again = _law(2), _law(2, already_cracked=True)
    low, high = np.array([6e6]), np.array([25e6])
    assert again.at(low)[0] == pytest.approx(first.at(low)[0])
    repeated = _law(2, already_cracked=True, stiffening=0.5)
    assert repeated.at(low)[0] > 1.5 * first.at(low)[0]
    assert again.at(high)[0] == pytest.approx(first.at(high)[0], rel=1e-6)


def test_beam_curve_starts_at_zero_and_rises() -> None:
    last = SETUP.load_n(43e6)
    curve = beam_curve(SETUP, _law(2), last)
    assert curve.loads_n[0] == 0.0
    assert curve.deflections_mm[0] == 0.0
    assert curve.loads_n[-1] == pytest.approx(last)
    assert np.all(np.diff(curve.deflections_mm) > 0.0)
    # The load points travel less than mid-span.
    assert np.all(curve.load_point_mm[1:] < curve.deflections_mm[1:])
    assert curve.stroke(last) == curve.load_point_mm[-1]


def test_yielded_beam_deflects_far_more() -> None:
    curve = beam_curve(SETUP, _law(0), SETUP.load_n(35.2e6))
    at_yield = curve.deflection(SETUP.load_n(33.0e6))
    assert curve.deflections_mm[-1] > 3 * at_yield


@pytest.mark.parametrize("form", INERTIA_FORMS)
@given(ratio=st.floats(0.1, 20.0))
def test_effective_inertia_lies_between_cracked_and_gross(form: str, ratio: float) -> None:
    found = effective_inertia(
        moment_nmm=ratio * 1e7,
        cracking_nmm=1e7,
        gross_mm4=4.5e8,
        cracked_mm4=1.2e8,
        form=form,  # type: ignore[arg-type]
    )
    assert 1.2e8 * (1 - 1e-12) <= found <= 4.5e8
    if ratio <= 2.0 / 3.0:
        assert found == 4.5e8


def test_stirrups_are_capped_and_least_ones_count() -> None:
    def strength(stirrups: Stirrups | None) -> ShearStrength:
        return shear_strength(
            strength_mpa=30.0, web_mm=200.0, depth_mm=260.0, bar_area_mm2=339.3, stirrups=stirrups
        )

    heavy = strength(Stirrups(2000.0, 50.0, 500.0))
    assert heavy.stirrups_n == pytest.approx(0.66 * 30**0.5 * 52_000.0)
    few, none = strength(Stirrups(10.0, 400.0, 420.0)), strength(None)
    assert few.concrete_n == none.concrete_n
    assert few.nominal_n > none.nominal_n


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (
            lambda: four_point(2400.0, 1300.0),
            "shear_span_mm is 1300.0; allowed is from 10 to 1200 mm",
        ),
        (lambda: three_point(24.0), "span_mm is 24.0; allowed is from 100 to 50000 mm"),
        (lambda: BeamSetup("three-point", 2400.0, 900.0), "half the span, 1200 mm"),
        (lambda: SETUP.elastic_deflection_mm(1.0, 0.0), "stiffness_nmm2 is 0.0"),
        (lambda: beam_curve(SETUP, _law(0), -5.0), "last_load_n is -5.0"),
        (lambda: _law(0, stiffening=2.0), "stiffening is 2.0"),
        (
            lambda: effective_inertia(
                moment_nmm=1e7, cracking_nmm=1e7, gross_mm4=1e8, cracked_mm4=2e8
            ),
            "cracked_mm4 is 200000000.0",
        ),
        (lambda: Stirrups(100.0, 1.0, 420.0), "stirrups.spacing_mm is 1.0"),
    ],
)
def test_refuses_beams_that_cannot_be(build: object, sentence: str) -> None:
    assert callable(build)
    with pytest.raises(RangeError) as caught:
        build()
    assert sentence in caught.value.message
