"""The elastic section: cracking, ε_bi, service and cyclic stresses of BM-1."""

from __future__ import annotations

import numpy as np
import pytest

from results.domain.mechanics.elastic import (
    BondState,
    bond_state,
    cracked_section,
    cracking_moment,
    gross_section,
    modulus_of_rupture,
    service_stresses,
    uncracked_section,
)
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import LinearConcrete
from results.domain.mechanics.moment_curvature import states_at
from results.domain.mechanics.section import Section
from tests.reference.mechanics_members import MODULUS, STRENGTH, bm1

RUPTURE = modulus_of_rupture(STRENGTH)
CRACKING = cracking_moment(gross_section(bm1(0), MODULUS), 300.0, RUPTURE)


def test_cracking_moments() -> None:
    # fr = 0.62 √f'c; the transformed value also from two libraries.
    gross = cracking_moment(gross_section(bm1(0), MODULUS), 300.0, RUPTURE)
    assert gross / 1e6 == pytest.approx(10.188, abs=6e-4)
    transformed = cracking_moment(uncracked_section(bm1(0), MODULUS), 300.0, RUPTURE)
    assert transformed / 1e6 == pytest.approx(11.094, abs=6e-4)


def test_cracked_section() -> None:
    # Also from two libraries.
    cracked = cracked_section(bm1(0), MODULUS)
    assert cracked.neutral_axis_mm == pytest.approx(70.649, abs=6e-4)
    assert cracked.inertia_mm4 == pytest.approx(1.1802e8, rel=5e-5)


def _bonded(earlier: float) -> tuple[BondState, Section]:
    """BM-1 with 2 plies, bonded under 5 kN·m after an earlier moment."""
    state = bond_state(
        bm1(2),
        modulus_mpa=MODULUS,
        cracking_nmm=CRACKING,
        moment_at_installation_nmm=5e6,
        largest_earlier_moment_nmm=earlier,
    )
    return state, bm1(2).with_bond(state.plane)


def test_service_stresses_of_a_cracked_member() -> None:
    # Exact for the stated rules: 18 kN·m.
    state, section = _bonded(12e6)
    assert state.cracked
    assert state.plane.at(300.0) == pytest.approx(3.7745e-4, abs=6e-9)
    stresses = service_stresses(section, cracked_section(section, MODULUS), 18e6)
    assert stresses.steel_mpa == pytest.approx(216.54, abs=6e-3)
    assert stresses.concrete_mpa == pytest.approx(10.672, abs=6e-4)
    assert stresses.fabric_mpa == pytest.approx(119.75, abs=6e-3)


def test_service_stresses_where_it_never_cracked() -> None:
    # Exact for the stated rules: the gross section counts for ε_bi.
    state, section = _bonded(8e6)
    assert not state.cracked
    assert state.plane.at(300.0) == pytest.approx(6.47e-5, abs=6e-8)
    stresses = service_stresses(section, cracked_section(section, MODULUS), 18e6)
    assert stresses.fabric_mpa == pytest.approx(157.7, abs=0.06)


@pytest.mark.parametrize(
    ("plies", "largest", "least", "span"), [(0, 224.37, 49.86, 174.51), (2, 213.38, 47.42, 165.96)]
)
def test_cyclic_bar_stress(plies: int, largest: float, least: float, span: float) -> None:
    # Exact: BM-1 between 18 and 4 kN·m on the elastic cracked transformed section.
    section = bm1(plies)
    elastic = cracked_section(section, MODULUS)
    high = service_stresses(section, elastic, 18e6).steel_mpa
    low = service_stresses(section, elastic, 4e6).steel_mpa
    assert (high, low, high - low) == pytest.approx((largest, least, span), abs=6e-3)


def test_closed_form_of_prestrain_is_near_the_exact_linear_section() -> None:
    # The closed form keeps the neutral axis of ε_bi = 0; fibres with a linear law move it.
    _, section = _bonded(12e6)
    model = FibreModel(section, LinearConcrete(MODULUS, 0.01), displaced=False)
    states = states_at(model, np.linspace(1e-6, 1e-5, 2001))
    curvature = float(np.interp(18e6, states.moment, states.curvature))
    axis = float(np.interp(curvature, states.curvature, states.neutral_axis))
    closed = service_stresses(section, cracked_section(section, MODULUS), 18e6)
    assert closed.steel_mpa == pytest.approx(200_000 * curvature * (260.0 - axis), rel=2e-3)
