"""Outlines, layers, the bond plane, and the closed-form solution as properties."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.block_case import BlockCase, case_of
from results.domain.mechanics.blocks import BLOCKS, BlockName
from results.domain.mechanics.capacity import Capacity, flexural_capacity, gain
from results.domain.mechanics.compatibility import solve
from results.domain.mechanics.fibres import FibreModel
from results.domain.mechanics.laws import BarSteel, FabricLaw, Parabola, stress
from results.domain.mechanics.limits import DEFAULT_LIMITS
from results.domain.mechanics.moment_curvature import ultimate_point
from results.domain.mechanics.roots import FOR_SAMPLES
from results.domain.mechanics.section import (
    BarLayer,
    BondStrain,
    FabricLayer,
    Section,
    bar_area,
    fabric_area,
    side_fabric,
    soffit_fabric,
)
from results.domain.mechanics.shape import rectangle, tee
from tests.reference.mechanics_members import bm1

STEEL = BarSteel(450.0)
LAW = FabricLaw(128_000.0)


@st.composite
def sections(draw: st.DrawFn) -> tuple[Section, float]:
    """A section and its concrete strength: T or rectangle, up to three bar layers, fabric."""
    height = draw(st.floats(200.0, 800.0))
    width = draw(st.floats(120.0, 500.0))
    shape = rectangle(width, height)
    if draw(st.booleans()):
        shape = tee(width * draw(st.floats(1.2, 4.0)), height * draw(st.floats(0.1, 0.4)), width,
                    height)  # fmt: skip
    steel = BarSteel(draw(st.floats(250.0, 650.0)))
    ratio = draw(st.floats(0.002, 0.03))
    bars = [BarLayer(ratio * width * height, 0.9 * height, steel)]
    if draw(st.booleans()):
        bars.append(BarLayer(0.4 * ratio * width * height, 0.1 * height, steel))
    fabrics: tuple[FabricLayer, ...] = ()
    if draw(st.booleans()):
        fabrics = (
            soffit_fabric(
                plies=draw(st.integers(1, 6)), ply_thickness_mm=0.05, width_mm=width,
                depth_mm=height, law=LAW, usable_strain=draw(st.floats(0.004, 0.014)),
            ),
        )  # fmt: skip
    bond = BondStrain(top=draw(st.floats(0.0, 8e-4)))
    return Section(shape, tuple(bars), fabrics, bond), draw(st.floats(18.0, 60.0))


def _solve(section: Section, strength: float, block: BlockName) -> Capacity:
    return flexural_capacity(
        section, strength_mpa=strength, modulus_mpa=4700 * math.sqrt(strength), block=block
    )


@pytest.mark.parametrize("block", BLOCKS)
@settings(max_examples=150, deadline=None)
@given(drawn=sections())
def test_equilibrium_and_compatibility_hold(drawn: tuple[Section, float], block: BlockName) -> None:
    section, strength = drawn
    state = _solve(section, strength, block)
    assert abs(state.imbalance_n) < 1e-6 * state.concrete_force_n
    c, k = state.neutral_axis_mm, state.curvature_per_mm
    # One plane: top strain, bars and fabric lie on it; one limit is reached and none exceeded.
    assert state.top_strain == pytest.approx(k * c)
    for bar, strain in zip(section.bars, state.bar_strains, strict=True):
        assert strain == pytest.approx(k * (bar.depth_mm - c), abs=1e-15)
    spent = [state.top_strain / 0.003]
    for fabric, strain in zip(section.fabrics, state.fabric_strains, strict=True):
        assert strain + float(section.bond.at(fabric.bottom_mm)) == pytest.approx(
            k * (fabric.bottom_mm - c), abs=1e-15
        )
        spent.append(strain / fabric.usable_strain)
    assert max(spent) == pytest.approx(1.0, rel=1e-9)


@settings(max_examples=60, deadline=None)
@given(drawn=sections())
def test_parabolic_block_is_the_fibre_integral_of_the_parabola(
    drawn: tuple[Section, float],
) -> None:
    section, strength = drawn
    law = Parabola(strength, 4700 * math.sqrt(strength))
    closed = _solve(section, strength, "parabolic")
    fibre = ultimate_point(FibreModel(section, law, layers=60))
    assert fibre.moment_nmm == pytest.approx(closed.nominal_nmm, rel=1e-4)


def _brute_force(section: Section, strength: float) -> float:
    """Mn with the parabola in a rectangle by a scalar root finder and plain quadrature."""
    law = Parabola(strength, 4700 * math.sqrt(strength))
    width = section.shape.top_width_mm

    def plane(c: float) -> float:
        bounds: list[float] = [0.003 / c]
        for fabric in section.fabrics:
            strain = fabric.usable_strain + float(section.bond.at(fabric.bottom_mm))
            bounds.append(strain / (fabric.bottom_mm - c))
        return min(bounds)

    def forces(c: float) -> tuple[float, float]:
        k = plane(c)
        depth = (np.arange(4000) + 0.5) * c / 4000
        concrete = width * c / 4000 * stress(law, k * (depth - c))
        total, moment = float(concrete.sum()), float((concrete * depth).sum())
        for bar in section.bars:
            at_bar = np.array([k * (bar.depth_mm - c)])
            force = bar.area_mm2 * float((stress(bar.steel, at_bar) - stress(law, at_bar))[0])
            total, moment = total + force, moment + force * bar.depth_mm
        for fabric in section.fabrics:
            strain = k * (fabric.bottom_mm - c) - float(section.bond.at(fabric.bottom_mm))
            force = fabric.area_mm2 * fabric.law.modulus_mpa * max(strain, 0.0)
            total, moment = total + force, moment + force * fabric.bottom_mm
        return total, moment

    c = brentq(lambda c: forces(c)[0], 1.0, section.shape.height_mm - 1.0, xtol=1e-10)
    return forces(float(c))[1]


@settings(max_examples=25, deadline=None)
@given(drawn=sections())
def test_closed_form_as_a_scalar_root_finder(drawn: tuple[Section, float]) -> None:
    section, strength = drawn
    if section.shape.kind != "rectangle":
        section = replace(section, shape=rectangle(300.0, section.shape.height_mm))
    state = _solve(section, strength, "parabolic")
    assert state.nominal_nmm == pytest.approx(_brute_force(section, strength), rel=1e-5)


@pytest.mark.parametrize("block", BLOCKS)
@settings(max_examples=60, deadline=None)
@given(drawn=sections(), more=st.floats(1.01, 3.0))
def test_more_fabric_never_lowers_the_strength(
    drawn: tuple[Section, float], more: float, block: BlockName
) -> None:
    section, strength = drawn
    if not section.fabrics:
        section = replace(section, fabrics=bm1(2).fabrics, shape=rectangle(200.0, 300.0),
                          bars=bm1(2).bars)  # fmt: skip
    thick = replace(section.fabrics[0], area_mm2=more * section.fabrics[0].area_mm2)
    less, greater = (
        _solve(section, strength, block),
        _solve(replace(section, fabrics=(thick,)), strength, block),
    )
    if greater.mode.startswith("fabric") and less.mode.startswith("fabric"):
        assert greater.nominal_nmm >= less.nominal_nmm * (1 - 1e-12)


def _wide_case(samples: int) -> BlockCase:
    rng = np.random.default_rng(3)
    base = case_of(bm1(2), strength_mpa=30.0, modulus_mpa=25_743.0, block="parabolic")
    strength = rng.uniform(12.0, 60.0, samples)
    return replace(
        base,
        strength=strength,
        modulus=4700 * np.sqrt(strength),
        bars=(replace(base.bars[0], area=rng.uniform(100.0, 3000.0, samples)),),
        limits=(replace(base.limits[0], strain=rng.uniform(0.004, 0.014, samples)),),
    )


def test_many_sections_at_once_are_the_same_as_one_by_one() -> None:
    case = _wide_case(300)
    together = solve(case).moment()
    index = np.arange(300)
    alone = [float(solve(case.take(index[i : i + 1])).moment()[0]) for i in range(300)]
    assert together == pytest.approx(alone, rel=1e-12)


def test_many_sections_are_solved_across_chunks() -> None:
    case = _wide_case(70_000)
    state = solve(case)
    assert np.abs(state.imbalance).max() < 1e-6 * state.concrete_force.min()
    loose = solve(case, tolerance=FOR_SAMPLES)
    assert loose.moment() == pytest.approx(state.moment(), rel=1e-7)


def test_tee_is_a_rectangle_while_the_axis_stays_in_the_flange() -> None:
    bars = (BarLayer(900.0, 450.0, STEEL),)
    flanged = Section(tee(800.0, 150.0, 200.0, 500.0), bars)
    wide = Section(rectangle(800.0, 500.0), bars)
    for block in BLOCKS:
        assert _solve(flanged, 30.0, block).nominal_nmm == pytest.approx(
            _solve(wide, 30.0, block).nominal_nmm, rel=1e-12
        )


def test_tee_by_hand_with_the_block_in_the_web() -> None:
    # C = 0.85·30·(600·80 + 250·(a − 80)) = 5000·450: a is 81 → by hand from the balance of forces.
    section = Section(tee(600.0, 80.0, 250.0, 600.0), (BarLayer(5000.0, 540.0, STEEL),))
    state = _solve(section, 30.0, "rectangular")
    web = (5000.0 * 450.0 / (0.85 * 30.0) - 600.0 * 80.0) / 250.0
    depth = 80.0 + web
    first = 600.0 * 80.0 * 40.0 + 250.0 * web * (80.0 + web / 2.0)
    arm = 540.0 - first / (600.0 * 80.0 + 250.0 * web)
    assert state.neutral_axis_mm * state.beta1 == pytest.approx(depth, rel=1e-9)
    assert state.nominal_nmm == pytest.approx(5000.0 * 450.0 * arm, rel=1e-9)


def test_side_and_u_wrap_fabric_add_less_than_the_same_area_on_the_soffit() -> None:
    bars = bm1(0).bars
    side = side_fabric(
        plies=1, ply_thickness_mm=0.05, top_mm=200.0, bottom_mm=300.0, law=LAW, usable_strain=0.012
    )
    assert side.area_mm2 == pytest.approx(10.0)
    assert side.areas_mm2.sum() == pytest.approx(10.0)
    on_sides = Section(rectangle(200.0, 300.0), bars, (side,))
    wrapped = replace(on_sides, fabrics=(side, *bm1(1).fabrics))
    found = [_solve(s, 30.0, "parabolic").nominal_nmm for s in (bm1(0), on_sides, bm1(1), wrapped)]
    assert found == sorted(found)
    # Side fabric of height 100: its centroid lies at 250 and its strain there is below usable.
    assert found[1] - found[0] < 10.0 * 128_000.0 * 0.012 * 250.0


def test_bond_strain_delays_the_fabric() -> None:
    # Bonded under strain the fabric reaches its usable strain later: a larger curvature.
    late = bm1(2).with_bond(BondStrain(top=5e-4))
    early = _solve(bm1(2), 30.0, "parabolic")
    state = _solve(late, 30.0, "parabolic")
    assert state.curvature_per_mm > early.curvature_per_mm
    assert state.fabric_strains[0] == pytest.approx(0.012)
    assert state.bond_strains == (5e-4,)


def test_four_modes() -> None:
    weak = Section(rectangle(150.0, 250.0), (BarLayer(bar_area(3, 16.0), 210.0, BarSteel(500.0)),))
    brittle = replace(bm1(4).fabrics[0], usable_strain=0.0015, bottom_mm=300.0)
    early = replace(bm1(4), fabrics=(brittle,))
    modes = [
        _solve(bm1(1), 30.0, "parabolic").mode,
        _solve(early, 30.0, "parabolic").mode,
        _solve(bm1(0), 30.0, "parabolic").mode,
        _solve(weak, 20.0, "rectangular").mode,
    ]
    assert modes == [
        "fabric after yield",
        "fabric before yield",
        "crushing after yield",
        "crushing before yield",
    ]


def test_gain_wants_one_block() -> None:
    with pytest.raises(ShapeError, match="allowed is a comparison with one block"):
        gain(
            _solve(bm1(2), 30.0, "parabolic"),
            _solve(bm1(0), 30.0, "rectangular"),
            DEFAULT_LIMITS["gain"],
        )


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: Section(rectangle(200.0, 300.0), ()), "no bars"),
        (lambda: Section(rectangle(200.0, 300.0), (BarLayer(1.0, 300.0, STEEL),)), "depth_mm is"),
        (lambda: rectangle(0.2, 0.3), "width_mm is 0.2; allowed is from 20 to 5000 mm"),
        (lambda: tee(300.0, 300.0, 200.0, 300.0), "flange_thickness_mm is 300.0"),
        (lambda: tee(300.0, 50.0, 400.0, 300.0), "web_width_mm is 400.0"),
        (lambda: fabric_area(plies=0, ply_thickness_mm=0.05, width_mm=200.0), "plies is 0"),
        (lambda: bar_area(3, 1.2), "diameter_mm is 1.2"),
        (
            lambda: Section(
                rectangle(200.0, 300.0),
                (BarLayer(1.0, 260.0, STEEL),),
                (FabricLayer(10.0, 400.0, 400.0, LAW, 0.012),),
            ),
            "bottom_mm is 400.0; allowed is up to 360 mm",
        ),
    ],
)
def test_refuses_sections_that_cannot_be(build: object, sentence: str) -> None:
    assert callable(build)
    with pytest.raises((RangeError, ShapeError)) as caught:
        build()
    assert sentence in caught.value.message
