"""Moment–curvature: equilibrium as a property, named points, refinement."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.elastic import uncracked_section
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import (
    BarSteel,
    LinearConcrete,
    Parabola,
    ParabolaRectangle,
    WithTension,
)
from results.domain.mechanics.moment_curvature import (
    diagram,
    states_at,
    ultimate_point,
    yield_point,
)
from tests.reference.mechanics_members import MODULUS, bm1
from tests.reference.mechanics_peers import random_member


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 10_000), fabric=st.booleans())
@example(seed=314, fabric=False)  # where plain Newton steps jump to and fro for ever
def test_every_point_of_a_diagram_is_in_equilibrium(seed: int, fabric: bool) -> None:
    member = random_member(np.random.default_rng(seed), fabric=fabric)
    found = diagram(FibreModel(member.section, member.concrete), points=30)
    scale = member.section.bars[0].area_mm2 * member.section.bars[0].steel.yield_mpa
    assert np.abs(found.states.imbalance).max() < 1e-6 * scale
    assert np.all(np.diff(found.states.curvature) > 0.0)
    assert np.all(found.states.neutral_axis > 0.0)
    assert found.states.curvature[-1] == pytest.approx(found.ultimate.curvature_per_mm)
    assert found.states.moment[-1] == pytest.approx(found.ultimate.moment_nmm, rel=1e-9)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), fabric=st.booleans())
@example(seed=1498, fabric=False)  # lightly reinforced: the bars break first
def test_no_strain_is_beyond_its_limit_at_the_ultimate_point(seed: int, fabric: bool) -> None:
    member = random_member(np.random.default_rng(seed), fabric=fabric)
    point = ultimate_point(FibreModel(member.section, member.concrete))
    spent = [-point.top_strain / member.concrete.ultimate_strain]
    for layer in member.section.fabrics:
        bond = float(member.section.bond.at(layer.bottom_mm))
        spent.append((point.strain(layer.bottom_mm) - bond) / layer.usable_strain)
    for bar in member.section.bars:
        spent.append(point.strain(bar.depth_mm) / bar.steel.rupture_strain)
    assert max(spent) == pytest.approx(1.0, rel=1e-9)


def test_layers_hardly_matter() -> None:
    coarse, fine = (
        ultimate_point(FibreModel(bm1(2), ParabolaRectangle(30.0), layers=layers)).moment_nmm
        for layers in (20, 400)
    )
    assert coarse == pytest.approx(fine, rel=2e-7)


def test_tension_in_concrete_gives_the_transformed_section_up_to_cracking() -> None:
    # With linear concrete the fibres are the transformed section: Mcr 11.094 kN·m (two libraries).
    rupture = 0.62 * 30.0**0.5
    law = WithTension(LinearConcrete(MODULUS), rupture, MODULUS, 3.0 * rupture / MODULUS)
    elastic = uncracked_section(bm1(0), MODULUS)
    last = 11.0935e6 / elastic.stiffness_nmm2
    states = states_at(FibreModel(bm1(0), law), np.linspace(0.1, 0.999, 10) * last)
    assert states.moment == pytest.approx(states.curvature * elastic.stiffness_nmm2, rel=1e-6)
    beyond = states_at(FibreModel(bm1(0), law), np.linspace(1.0, 30.0, 60) * last)
    bare = states_at(FibreModel(bm1(0), law.compression), beyond.curvature)
    assert np.all(beyond.moment > bare.moment)
    assert beyond.moment[-1] == pytest.approx(bare.moment[-1], rel=0.01)


def test_brittle_tension_still_finds_a_root_at_every_curvature() -> None:
    law = WithTension(Parabola(30.0, MODULUS), 3.4, MODULUS, 3.4 / MODULUS)
    states = states_at(FibreModel(bm1(1), law), np.linspace(1e-7, 2e-5, 80))
    # A fibre that lets go jumps by its whole force: the balance is as fine as one fibre.
    assert np.abs(states.imbalance).max() < 3.4 * 200.0 * 300.0 / 200.0


def test_bar_rupture_is_a_limit() -> None:
    section = bm1(0)
    frail = BarSteel(420.0, hardening_mpa=1000.0, rupture_strain=0.01)
    section = replace(section, bars=(replace(section.bars[0], steel=frail, name="old bars"),))
    point = ultimate_point(FibreModel(section, ParabolaRectangle(30.0)))
    assert point.name == "old bars"
    assert point.strain(260.0) == pytest.approx(0.01)


def test_no_yield_point_where_the_end_comes_first() -> None:
    section = bm1(0)
    strong = replace(section, bars=(replace(section.bars[0], area_mm2=4000.0),))
    assert yield_point(FibreModel(strong, ParabolaRectangle(20.0))) is None
    found = diagram(FibreModel(strong, ParabolaRectangle(20.0)))
    assert found.yielding is None
    assert found.peak_moment_nmm >= found.ultimate.moment_nmm * (1 - 1e-9)


def test_refuses_curvature_that_is_not_above_zero() -> None:
    model = FibreModel(bm1(0), ParabolaRectangle(30.0))
    with pytest.raises(RangeError, match="curvatures is 0"):
        states_at(model, np.array([0.0, 1e-6]))
    with pytest.raises(RangeError, match="points is 3"):
        diagram(model, points=3)
