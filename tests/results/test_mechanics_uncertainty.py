"""Monte Carlo and first order, side by side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.block_case import case_of
from results.domain.mechanics.blocks import BLOCKS, BlockName
from results.domain.mechanics.capacity import flexural_capacity
from results.domain.mechanics.random_variables import PRACTICE_VARIABLES, Variable, vary
from results.domain.mechanics.section import BondStrain, Section
from results.domain.mechanics.uncertainty import (
    UncertainMember,
    first_order,
    governing_modes,
    monte_carlo,
)
from tests.reference.mechanics_members import MODULUS, STRENGTH, bm1


def _member(
    *variables: Variable,
    section: Section | None = None,
    block: BlockName = "parabolic",
    shear_nmm: float | None = None,
) -> UncertainMember:
    section = bm1(2) if section is None else section
    case = case_of(section, strength_mpa=STRENGTH, modulus_mpa=MODULUS, block=block)
    return UncertainMember(section, case, variables, shear_nmm=shear_nmm)


def _nominal(section: Section, block: BlockName = "parabolic") -> float:
    return flexural_capacity(
        section, strength_mpa=STRENGTH, modulus_mpa=MODULUS, block=block
    ).nominal_nmm


@pytest.mark.parametrize("block", BLOCKS)
def test_nothing_varies_nothing_moves(block: BlockName) -> None:
    found = monte_carlo(_member(Variable("model", 0.0), block=block), samples=100, seed=1)
    assert found.mean_nmm == pytest.approx(_nominal(bm1(2), block), rel=1e-9)
    assert found.sd_nmm == pytest.approx(0.0, abs=1.0)
    assert found.modes["fabric after yield"] == 1.0


def test_a_model_factor_alone_has_its_own_mean_and_deviation() -> None:
    # Exact: Mn times a factor of mean 1.05 and COV 10 %.
    member = _member(Variable("model", 0.10, 1.05, "normal"))
    drawn, slopes = monte_carlo(member, samples=200_000, seed=5), first_order(member)
    nominal = _nominal(bm1(2))
    assert slopes.mean_nmm == pytest.approx(1.05 * nominal, rel=1e-9)
    assert slopes.cov == pytest.approx(0.10, rel=1e-9)
    assert drawn.mean_nmm == pytest.approx(1.05 * nominal, rel=1e-3)
    assert drawn.cov == pytest.approx(0.10, rel=0.01)
    low, middle, high = drawn.fractiles_nmm
    assert (low, high) == pytest.approx(
        (drawn.mean_nmm * 0.83551, drawn.mean_nmm * 1.16449), rel=0.005
    )
    assert middle == pytest.approx(drawn.mean_nmm, rel=0.002)


def test_lognormal_factor_has_the_stated_mean_and_cov() -> None:
    deviates = np.random.default_rng(2).standard_normal(400_000)
    factors = Variable("bar_yield", 0.3, 1.2).factors(deviates)
    assert factors.mean() == pytest.approx(1.2, rel=0.003)
    assert factors.std() / factors.mean() == pytest.approx(0.3, rel=0.01)


def test_both_ways_agree_where_the_strength_is_nearly_linear() -> None:
    member = _member(*PRACTICE_VARIABLES)
    drawn, slopes = monte_carlo(member, samples=100_000, seed=3), first_order(member)
    assert slopes.cov == pytest.approx(drawn.cov, rel=0.03)
    assert slopes.mean_nmm == pytest.approx(drawn.mean_nmm, rel=0.01)
    assert sum(slopes.shares.values()) == pytest.approx(1.0)
    assert slopes.shares["bar_yield"] > slopes.shares["concrete_strength"]
    assert slopes.shares["shear_model"] == pytest.approx(0.0, abs=1e-9)


def test_first_order_is_the_slope_by_hand() -> None:
    # One variable: (Mn at fy + δ less Mn at fy − δ) from two separate sections.
    member = _member(Variable("bar_yield", 0.05))
    bars = bm1(2).bars[0]
    ends = [
        _nominal(
            replace(
                bm1(2),
                bars=(replace(bars, steel=replace(bars.steel, yield_mpa=420.0 * (1 + side))),),
            )
        )
        for side in (0.005, -0.005)
    ]
    assert first_order(member).sd_nmm == pytest.approx((ends[0] - ends[1]) / 0.01 * 0.05, rel=1e-6)


def test_modes_share_the_draw() -> None:
    # Fabric whose usable strain is near the balance of crushing and fabric.
    fabric = replace(bm1(4).fabrics[0], usable_strain=0.0155)
    section = replace(bm1(4), fabrics=(fabric,))
    wide = (Variable("fabric_strain", 0.25), Variable("concrete_strength", 0.2))
    found = monte_carlo(_member(*wide, section=section, shear_nmm=70e6), samples=20_000, seed=9)
    assert sum(found.modes.values()) == pytest.approx(1.0)
    assert 0.05 < found.modes["fabric after yield"] < 0.95
    assert 0.05 < found.modes["crushing after yield"] < 0.95
    ranked = governing_modes(found)
    assert [share for _, share in ranked] == sorted((s for _, s in ranked), reverse=True)


def test_weak_shear_governs() -> None:
    found = monte_carlo(_member(*PRACTICE_VARIABLES, shear_nmm=30e6), samples=5000, seed=4)
    assert found.modes["shear"] > 0.95
    assert found.mean_nmm == pytest.approx(30e6, rel=0.03)


def test_same_seed_same_draw_on_any_number_of_workers() -> None:
    member = _member(*PRACTICE_VARIABLES)
    one = monte_carlo(member, samples=70_000, seed=7, workers=1)
    assert monte_carlo(member, samples=70_000, seed=7, workers=2) == one
    assert monte_carlo(member, samples=70_000, seed=8).mean_nmm != one.mean_nmm


def test_varied_case_is_the_case_of_the_varied_section() -> None:
    section = bm1(2).with_bond(BondStrain(top=3e-4))
    case = case_of(section, strength_mpa=STRENGTH, modulus_mpa=MODULUS, block="rectangular")
    varied = vary(case, section, {"concrete_strength": 1.2, "width": 1.1, "fabric_strain": 0.9})
    assert varied.strength == pytest.approx(36.0)
    assert varied.modulus == pytest.approx(4700 * 36.0**0.5)
    assert float(np.asarray(varied.beta1)) == pytest.approx(0.85 - 0.05 * 8 / 7)
    assert varied.strips[0].width == pytest.approx(220.0)
    assert varied.limits[0].strain == pytest.approx(0.0108 + 3e-4)


@pytest.mark.parametrize(
    ("build", "sentence"),
    [
        (lambda: Variable("weather", 0.1), "variable is 'weather'; allowed is one of"),
        (lambda: Variable("bar_yield", 5.0), "bar_yield.cov is 5.0; allowed is from 0 to 0.5"),
        (lambda: Variable("bar_yield", 0.1, 0.0), "bar_yield.mean is 0.0"),
        (lambda: monte_carlo(_member(), samples=10, seed=1), "samples is 10"),
        (lambda: monte_carlo(_member(), samples=100, seed=-1), "seed is -1"),
        (lambda: _member(Variable("width", 0.1), Variable("width", 0.2)), "each name once"),
    ],
)
def test_refuses_what_cannot_vary(build: object, sentence: str) -> None:
    assert callable(build)
    with pytest.raises((RangeError, ShapeError)) as caught:
        build()
    assert sentence in caught.value.message
