"""The true curves follow from what is stated, and from mechanics worked out elsewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from labmatrix.kernel.errors import ShapeError
from results.domain.invented.beams import BEAMS, beam_made
from results.domain.invented.parameters import FROST, LABORATORY, PARAMETERS, SALT
from results.domain.invented.truth import (
    Factors,
    cell_truth,
    cracked_stiffness_kn_mm,
    cracking_load_kn,
    gross_stiffness_kn_mm,
    nominal_load_kn,
)

MEMBER = PARAMETERS.member
CELLS = [(plies, exposure) for plies in (0, 1, 2, 4) for exposure in (LABORATORY, SALT, FROST)]


def peak(
    plies: int, exposure: str = LABORATORY, *, is_sustained: bool = False, is_cycled: bool = False
) -> float:
    return cell_truth(
        plies=plies, exposure=exposure, is_sustained=is_sustained, is_cycled=is_cycled
    ).peak_load_kn


def test_nominal_strength_is_that_of_the_rectangular_block():
    # Closed form for b 200, h 300, d 260, 3 bars of 12, f'c 30, fy 420: Mn 35.0598 kN·m (also
    # from an independent section library); self-weight 1.44 kN/m on 2.4 m takes 1.0368 kN·m.
    expected = 2.0 * (35.0598 - 1.0368) / 0.9 - 0.35
    assert nominal_load_kn(MEMBER) == pytest.approx(expected, abs=2e-4)


def test_cracking_is_that_of_the_gross_section():
    # 0.62 √30 MPa in the gross section: 10.188 kN·m.
    assert cracking_load_kn(MEMBER) == pytest.approx(2 * (10.188 - 1.0368) / 0.9 - 0.35, abs=2e-3)


def test_stiffness_is_that_of_four_point_bending():
    # δ = P a (3L² − 4a²)/(48 E I) at 40 kN: 0.9090 mm for the gross, 3.4659 mm for the cracked
    # section (closed form).
    assert 40.0 / gross_stiffness_kn_mm(MEMBER) == pytest.approx(0.9090, abs=5e-5)
    assert 40.0 / cracked_stiffness_kn_mm(MEMBER) == pytest.approx(3.4659, abs=5e-5)


@pytest.mark.parametrize("plies", [1, 2, 4])
def test_gain_in_the_laboratory_is_as_stated(plies):
    stated = PARAMETERS.ply_law(plies).capacity_gain
    assert peak(plies) / peak(0) - 1.0 == pytest.approx(stated, rel=1e-12)


@pytest.mark.parametrize("exposure", [SALT, FROST])
@pytest.mark.parametrize("plies", [1, 2, 4])
def test_both_retentions_are_as_stated(plies, exposure):
    stated = PARAMETERS.exposure_law(exposure)
    assert peak(0, exposure) / peak(0) == pytest.approx(stated.unstrengthened, rel=1e-12)
    contribution = (peak(plies, exposure) - peak(0, exposure)) / (peak(plies) - peak(0))
    assert contribution == pytest.approx(stated.contribution, rel=1e-12)


def test_member_retention_hides_what_the_contribution_lost():
    member = peak(2, SALT) / peak(2)
    assert PARAMETERS.exposure_law(SALT).contribution + 0.1 < member < 1.0


def test_sustained_load_and_cycling_take_a_further_share():
    added = peak(2, SALT) - peak(0, SALT)
    held = peak(2, SALT, is_sustained=True) - peak(0, SALT, is_sustained=True)
    assert held / added == pytest.approx(PARAMETERS.sustained.contribution, rel=1e-12)
    went = peak(2, is_cycled=True) - peak(0, is_cycled=True)
    assert went / (peak(2) - peak(0)) == pytest.approx(PARAMETERS.cycled.contribution, rel=1e-12)


@pytest.mark.parametrize(("plies", "exposure"), CELLS)
@pytest.mark.parametrize("is_cycled", [False, True])
def test_a_curve_rises_to_its_peak_and_is_whole(plies, exposure, is_cycled):
    truth = cell_truth(plies=plies, exposure=exposure, is_cycled=is_cycled)
    grid = np.linspace(0.0, truth.end_mm, 20_001)
    load = truth.load_at(grid)
    top = int(np.argmax(load))
    assert load[0] == pytest.approx(0.0, abs=1e-9)
    assert load[top] == pytest.approx(truth.peak_load_kn, rel=1e-6)
    assert grid[top] == pytest.approx(truth.peak_deflection_mm, abs=0.01)
    assert (np.diff(load[: top + 1]) > -1e-9).all()
    assert (np.diff(load[top:]) < 1e-9).all()
    steepest = truth.initial_stiffness_kn_mm * (grid[1] - grid[0])
    assert np.diff(load).max() <= steepest * (1.0 + 1e-9)


@pytest.mark.parametrize("plies", [0, 1, 2, 4])
def test_corners_are_rounded_a_little_only(plies):
    truth = cell_truth(plies=plies, exposure=LABORATORY)
    at_yield = float(truth.load_at(truth.yield_deflection_mm))
    assert truth.yield_load_kn * 0.975 < at_yield < truth.yield_load_kn
    halfway = 0.5 * (truth.crack_deflection_mm + truth.yield_deflection_mm)
    straight = 0.5 * (truth.crack_load_kn + truth.yield_load_kn)
    assert float(truth.load_at(halfway)) == pytest.approx(straight, rel=1e-9)


def test_a_beam_loaded_before_has_no_crack_in_its_curve():
    truth = cell_truth(plies=2, exposure=LABORATORY, is_cycled=True)
    grid = np.linspace(0.1, 0.8 * truth.yield_deflection_mm, 50)
    assert truth.load_at(grid) / grid == pytest.approx(truth.cracked_stiffness_kn_mm, rel=1e-9)


def test_failure_goes_by_plies():
    modes = {n: cell_truth(plies=n, exposure=LABORATORY).mode for n in (0, 1, 2, 4)}
    assert modes[1] == modes[2]
    assert "slipped" in modes[1].words
    assert modes[4].letter == "B"
    assert "crushed" in modes[0].words


def test_debonding_is_sudden_and_slip_is_not():
    def fall(plies: int) -> float:
        truth = cell_truth(plies=plies, exposure=LABORATORY)
        return 1.0 - float(truth.load_at(truth.peak_deflection_mm + 0.5)) / truth.peak_load_kn

    assert fall(4) > 0.25
    assert fall(2) < 0.03


@pytest.mark.parametrize("plies", [0, 2])
def test_stiffness_loss_ends_as_stated_comes_early_and_settles(plies):
    truth = cell_truth(plies=plies, exposure=LABORATORY)
    loss = 1.0 - truth.stiffness_ratio([1, 10, 1_000, 100_000, 1_000_000, 2_000_000])
    assert loss[0] == 0.0
    assert loss[-1] == pytest.approx(PARAMETERS.ply_law(plies).cycling_loss, rel=1e-12)
    assert (np.diff(loss) > 0.0).all()
    assert loss[3] > 0.85 * loss[-1]
    assert loss[-1] - loss[-2] < 0.02 * loss[-1]


def test_bars_yield_where_the_curve_bends():
    truth = cell_truth(plies=0, exposure=LABORATORY)
    strain = truth.bar_strain_at([truth.yield_deflection_mm - 0.1, truth.yield_deflection_mm])
    assert strain[0] < MEMBER.yield_strain == pytest.approx(strain[1])


def test_fabric_lets_go_after_the_peak():
    truth = cell_truth(plies=2, exposure=LABORATORY)
    at_peak, later = truth.fabric_strain_at([truth.peak_deflection_mm, truth.end_mm])
    assert later < 0.2 * at_peak < 0.2 * PARAMETERS.member.fabric_design_strain


def test_factors_of_a_beam_scale_its_curve():
    mean = cell_truth(plies=2, exposure=SALT)
    factors = Factors(capacity=1.1, stiffness=0.9, peak_deflection=1.2)
    made = cell_truth(plies=2, exposure=SALT, factors=factors)
    assert made.peak_load_kn == pytest.approx(1.1 * mean.peak_load_kn)
    assert made.first_cycle_kn_mm == pytest.approx(0.9 * mean.first_cycle_kn_mm)
    assert made.peak_deflection_mm == pytest.approx(1.2 * mean.peak_deflection_mm)


def test_scatter_of_beams_is_as_stated():
    plan = BEAMS[0]
    ratios = np.array([beam_made(plan, seed).truth.peak_load_kn for seed in range(600)]) / peak(0)
    law = PARAMETERS.scatter
    # Both are drawn from a normal variable clipped at two standard deviations, whose variance is
    # 0.7385 + 4 · 0.0455 = 0.9205: 0.959 of the stated scatter, here within 10 %.
    stated = np.hypot(law.capacity, law.depth_mm / MEMBER.d_mm)
    assert ratios.mean() == pytest.approx(1.0, abs=4.0 * stated / np.sqrt(600.0))
    assert ratios.std(ddof=1) == pytest.approx(0.959 * stated, rel=0.1)


def test_plies_and_exposures_without_parameters_are_refused():
    with pytest.raises(ShapeError, match="3 plies") as refused:
        cell_truth(plies=3, exposure=LABORATORY)
    assert refused.value.code == "invented.plies"
    with pytest.raises(ShapeError, match="seawater") as refused:
        cell_truth(plies=2, exposure="seawater")
    assert refused.value.code == "invented.exposure"


def test_a_changed_parameter_changes_the_truth():
    weaker = replace(PARAMETERS, member=replace(MEMBER, fy_mpa=400.0))
    changed = cell_truth(plies=0, exposure=LABORATORY, parameters=weaker)
    assert changed.peak_load_kn < peak(0) * 0.96
