"""Beam response against closed forms and published formulae; BM-1 on 2.4 m, loads at 0.9 m."""

from __future__ import annotations

import numpy as np
import pytest

from results.domain.mechanics.beam_response import (
    CurvatureLaw,
    beam_curve,
    deflections,
    mean_curvature,
)
from results.domain.mechanics.beam_setup import (
    BeamSetup,
    four_point,
    self_weight_n_per_mm,
    three_point,
)
from results.domain.mechanics.effective_inertia import InertiaForm, effective_inertia
from results.domain.mechanics.elastic import (
    cracked_section,
    cracking_moment,
    gross_section,
    modulus_of_rupture,
)
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import ParabolaRectangle
from results.domain.mechanics.moment_curvature import diagram
from results.domain.mechanics.shear import Stirrups, shear_strength
from tests.reference.mechanics_members import MODULUS, bm1

SETUP = four_point(2400.0, 900.0)
GROSS = gross_section(bm1(0), MODULUS)
CRACKED = cracked_section(bm1(0), MODULUS)
CRACKING = cracking_moment(GROSS, 300.0, modulus_of_rupture(30.0))


@pytest.mark.parametrize(
    ("inertia", "deflection"),
    [(4.5e8, 0.9090), (CRACKED.inertia_mm4, 3.4659), (1.3187e8, 3.1019), (1.7821e8, 2.2953)],
)
def test_four_point_deflection(inertia: float, deflection: float) -> None:
    # Exact: δ = P a (3L² − 4a²)/(48 E I) with the TOTAL load of 40 kN.
    found = SETUP.elastic_deflection_mm(40_000.0, MODULUS * inertia)
    assert found == pytest.approx(deflection, abs=1.5e-4)
    assert SETUP.moment_nmm(40_000.0) == pytest.approx(18e6)


@pytest.mark.parametrize(("form", "inertia"), [("aci318-19", 1.3187e8), ("branson", 1.7821e8)])
def test_effective_inertia(form: InertiaForm, inertia: float) -> None:
    # ACI 318-19, Table 24.2.3.5 (published), and the older Branson form.
    found = effective_inertia(
        moment_nmm=18e6,
        cracking_nmm=CRACKING,
        gross_mm4=4.5e8,
        cracked_mm4=CRACKED.inertia_mm4,
        form=form,
    )
    assert found == pytest.approx(inertia, rel=5e-5)


def test_self_weight_of_bm1() -> None:
    # 1.04 kN·m on 2.4 m, 3 % of Mn.
    setup = four_point(2400.0, 900.0, self_weight_n_per_mm=self_weight_n_per_mm(60_000.0))
    assert setup.dead_moment_nmm / 1e6 == pytest.approx(1.0368)
    assert setup.dead_moment_nmm / 35.06e6 == pytest.approx(0.03, abs=0.001)


def _linear(stiffness: float) -> CurvatureLaw:
    return CurvatureLaw(np.array([0.0, 1e9]), np.array([0.0, 1e9 / stiffness]))


@pytest.mark.parametrize("setup", [SETUP, three_point(2400.0), four_point(3000.0, 400.0)])
def test_integrated_curvature_of_a_linear_member_is_the_closed_form(setup: BeamSetup) -> None:
    stiffness = MODULUS * 4.5e8
    middle, point = deflections(setup, _linear(stiffness), np.array([40_000.0]))
    assert middle[0] == pytest.approx(setup.elastic_deflection_mm(40_000.0, stiffness), rel=1e-12)
    # Exact at the load point: P a² (3L − 4a)/(12 E I).
    a, span = setup.shear_span_mm, setup.span_mm
    exact = 40_000.0 * a**2 * (3 * span - 4 * a) / (12 * stiffness)
    assert point[0] == pytest.approx(exact, rel=1e-12)


def test_integrated_self_weight_is_the_closed_form() -> None:
    stiffness, w = MODULUS * 4.5e8, 1.44
    setup = four_point(2400.0, 900.0, self_weight_n_per_mm=w)
    middle, _ = deflections(setup, _linear(stiffness), np.array([0.0]))
    assert middle[0] == pytest.approx(5 * w * 2400.0**4 / (384 * stiffness), rel=1e-12)


def test_bare_cracked_member_has_the_cracked_deflection_below_yield() -> None:
    law = mean_curvature(
        diagram(FibreModel(bm1(0), ParabolaRectangle(30.0, 0.0023313, 0.0035)), points=400),
        uncracked=GROSS,
        cracking_nmm=CRACKING,
        already_cracked=True,
        stiffening=0.0,
    )
    # The parabola starts with 2 f'c/ε0 = Ec, so it is near the linear cracked section.
    found = beam_curve(SETUP, law, 40_000.0).deflection(10_000.0)
    exact = SETUP.elastic_deflection_mm(10_000.0, CRACKED.stiffness_nmm2)
    assert found == pytest.approx(exact, rel=0.02)


def test_shear_strength_by_hand() -> None:
    # ACI 318-14, 22.5.5.1 and ACI 318-19, Table 22.5.5.1 (recalled, not re-read), by hand:
    # 0.17 √30 · 200 · 260 = 48 418 N; 0.66 √(2/2.04) 0.0065248^⅓ √30 · 52 000 = 34 780 N.
    old = shear_strength(
        strength_mpa=30.0, web_mm=200.0, depth_mm=260.0, bar_area_mm2=339.292, edition="aci318-14"
    )
    assert old.nominal_n == pytest.approx(0.17 * 5.477226 * 52_000.0, rel=1e-6)
    new = shear_strength(strength_mpa=30.0, web_mm=200.0, depth_mm=260.0, bar_area_mm2=339.292)
    assert new.size_factor == pytest.approx(0.9901475)
    assert new.nominal_n == pytest.approx(
        0.66 * 0.9901475 * 0.00652485 ** (1 / 3) * 5.477226 * 52_000.0, rel=1e-5
    )
    tied = shear_strength(
        strength_mpa=30.0,
        web_mm=200.0,
        depth_mm=260.0,
        bar_area_mm2=339.292,
        stirrups=Stirrups(100.5, 125.0, 420.0),
    )
    assert tied.stirrups_n == pytest.approx(100.5 * 420.0 * 260.0 / 125.0)
    assert tied.concrete_n == pytest.approx(old.nominal_n)
