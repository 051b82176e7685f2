"""Load cycles against closed forms: bias and scatter of energy, stiffness and phase over seeds.

Load −F·cos θ and deflection −d·cos(θ − φ) about a mean enclose π·F·d·sin φ; n samples of a cycle
make a polygon of n/2·sin h·2·F·d·sin φ/2 with h = 2π/n, that is sin h/h of it. With white noise of
σ_P and σ_x the area, a sum of cross products, has no bias of its own, and to first order

    var E = n/2 · sin²h · (σ_P²·d² + σ_x²·F²) + (n + 1)/2 · σ_P²·σ_x²

(each sample moves the area by half the chord of its neighbours). A zero of the deflection that
drifts by a each cycle, closed by a straight line at the valley, adds a·F: the drift works against
the load above the valley, on average F. All of this is worked out here, from no other source.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pytest

from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.outcome import Outcome

FORCE, STIFFNESS, PHASE = 16.0, 6.4, 0.05
AMPLITUDE = FORCE / STIFFNESS
ENERGY = np.pi * FORCE * AMPLITUDE * np.sin(PHASE)
SEEDS, CYCLES = 12, 120
SAMPLES = [20, 50, 200]
# Four standard errors: a chance of 1 in 16 000 for each comparison.
ERRORS = 4.0
# A cycle begins where the noise put its lowest sample: a chord of up to two samples more or less
# at the valley, and the bias of the lowest of some samples. Seen from the geometry of an ellipse,
# (2h)³/12 of F·d·sin φ and σ/F·h/π of the energy; both together stay below this share.
ENDS = {20: 0.012, 50: 0.004, 200: 0.001}


@dataclass(frozen=True)
class Made:
    """Channels of a record, kN, mm, s."""

    load: np.ndarray
    deflection: np.ndarray
    time: np.ndarray


def made(
    samples: int,
    seed: int,
    *,
    noise: float = 0.0,
    drift_mm: float = 0.0,
    lost: float = 0.0,
    word: float = 0.0,
) -> Made:
    """Cycles of a known loop, begun anywhere between two samples.

    Args:
        samples: of a cycle.
        seed: of noise and start.
        noise: standard deviation as a share of the amplitude, in both channels.
        drift_mm: of the deflection's zero, in each cycle.
        lost: share of the load samples that are lost.
        word: what the logger writes in their place, kN.
    """
    rng = np.random.default_rng([seed, samples])
    turns = (np.arange(CYCLES * samples + 2) + rng.uniform(-0.5, 0.5)) / samples
    theta = 2.0 * np.pi * turns
    load = 24.0 - FORCE * np.cos(theta) + rng.normal(0.0, noise * FORCE, len(theta))
    deflection = 4.0 - AMPLITUDE * np.cos(theta - PHASE) + drift_mm * turns
    deflection = deflection + rng.normal(0.0, noise * AMPLITUDE, len(theta))
    load[rng.random(len(load)) < lost] = word
    return Made(load, deflection, turns / 2.0)


def reduced(record: Made) -> Outcome:
    return reduce_cyclic(
        load_kn=record.load,
        deflection_mm=record.deflection,
        time_s=record.time,
        settings=CyclicSettings(),
    )


def column(outcomes: list[Outcome], name: str) -> np.ndarray:
    """A column of the whole cycles of all records, without the first and the last of each."""
    parts = []
    for outcome in outcomes:
        table = outcome.table
        assert table is not None
        inner = np.flatnonzero(table["whole"])[1:-1]
        parts.append(np.asarray(table[name])[inner])
    return np.concatenate(parts)


def polygon(samples: int) -> float:
    """Share of the ellipse that its polygon of samples holds."""
    h = 2.0 * np.pi / samples
    return float(np.sin(h) / h)


def energy_scatter(samples: int, noise: float) -> float:
    """Standard deviation of one loop's energy, kN·mm, for the same relative noise in both."""
    h = 2.0 * np.pi / samples
    first = samples / 2 * np.sin(h) ** 2 * 2.0 * noise**2
    second = (samples + 1) / 2 * noise**4
    return float(FORCE * AMPLITUDE * np.sqrt(first + second))


@pytest.mark.parametrize("samples", SAMPLES)
def test_loop_energy_has_the_bias_of_its_polygon_and_the_scatter_of_its_noise(samples: int) -> None:
    outcomes = [reduced(made(samples, seed, noise=0.01)) for seed in range(SEEDS)]
    energy = column(outcomes, "loop_energy_kn_mm")
    assert len(energy) >= SEEDS * (CYCLES - 4)
    scatter = energy_scatter(samples, 0.01)
    allowed = ERRORS * scatter / np.sqrt(len(energy)) + ENDS[samples] * ENERGY
    assert energy.mean() == pytest.approx(ENERGY * polygon(samples), abs=allowed)
    assert energy.std() == pytest.approx(scatter, rel=ERRORS / np.sqrt(2 * len(energy)) + 0.03)
    # The scatter falls with the root of the number of samples, so a mean of loops is worth it.
    assert scatter / ENERGY == pytest.approx(
        {20: 0.088, 50: 0.056, 200: 0.028}[samples], abs=1.5e-3
    )


@pytest.mark.parametrize("samples", SAMPLES)
def test_the_phase_comes_back_from_energy_and_amplitudes(samples: int) -> None:
    outcomes = [reduced(made(samples, seed, noise=0.01)) for seed in range(SEEDS)]
    energy = column(outcomes, "loop_energy_kn_mm")
    ranges = {
        name: column(outcomes, f"peak_{name}") - column(outcomes, f"valley_{name}")
        for name in ("load_kn", "deflection_mm")
    }
    # Between the load's extremes the deflection goes through 2·d·cos φ.
    across = np.pi * ranges["load_kn"].mean() * ranges["deflection_mm"].mean() / 4.0
    tangent = energy.mean() / polygon(samples) / across
    allowed = ERRORS * energy_scatter(samples, 0.01) / ENERGY / np.sqrt(len(energy))
    assert tangent == pytest.approx(np.tan(PHASE), rel=allowed + ENDS[samples] + 0.004)


@pytest.mark.parametrize("samples", SAMPLES)
def test_stiffness_by_regression_has_its_known_bias_and_scatter(samples: int) -> None:
    """cos φ from the loop, 1/(1 + 2·(σ_x/d)²) from noise in the deflection; a line through n
    points scatters by √(σ_P² + k²·σ_x²)/(d·√(n/2))."""
    outcomes = [reduced(made(samples, seed, noise=0.01)) for seed in range(SEEDS)]
    stiffness = column(outcomes, "stiffness_regression_kn_mm")
    expected = STIFFNESS * np.cos(PHASE) / (1.0 + 2.0 * 0.01**2)
    scatter = STIFFNESS * 0.01 * np.sqrt(2.0) / np.sqrt(samples / 2)
    # One sample more or less at the valley, as ENDS says, turns the line by sin²φ of that share.
    allowed = ERRORS * scatter / np.sqrt(len(stiffness)) + ENDS[samples] * STIFFNESS * PHASE
    assert stiffness.mean() == pytest.approx(expected, abs=allowed)
    assert stiffness.std() == pytest.approx(scatter, rel=ERRORS / np.sqrt(2 * len(stiffness)) + 0.1)


@pytest.mark.parametrize("samples", SAMPLES)
def test_secant_stiffness_between_fitted_extremes(samples: int) -> None:
    """k/cos φ; the fit reads noise of each extreme averaged over its window, so that the scatter
    stays below that of four single samples."""
    outcomes = [reduced(made(samples, seed, noise=0.01)) for seed in range(SEEDS)]
    stiffness = column(outcomes, "stiffness_load_extremes_kn_mm")
    single = STIFFNESS * 0.01 * np.sqrt(4.0) / 2.0
    assert stiffness.mean() == pytest.approx(STIFFNESS / np.cos(PHASE), rel=0.006)
    assert stiffness.std() < single * {20: 1.1, 50: 1.0, 200: 0.6}[samples]


@pytest.mark.parametrize("samples", SAMPLES)
@pytest.mark.parametrize("share", [0.002, 0.01])
def test_a_drifting_zero_adds_what_it_works_against_the_load(samples: int, share: float) -> None:
    drift = share * AMPLITUDE
    outcomes = [reduced(made(samples, seed, noise=0.01, drift_mm=drift)) for seed in range(SEEDS)]
    energy = column(outcomes, "loop_energy_kn_mm")
    expected = ENERGY * polygon(samples) + drift * FORCE
    allowed = ERRORS * energy_scatter(samples, 0.01) / np.sqrt(len(energy))
    assert energy.mean() == pytest.approx(expected, abs=allowed + ENDS[samples] * expected)
    # Half a cycle's drift lies between valley and peak.
    secant = column(outcomes, "stiffness_load_extremes_kn_mm")
    closed = 2.0 * FORCE / (2.0 * AMPLITUDE * np.cos(PHASE) + drift / 2.0)
    assert secant.mean() == pytest.approx(closed, rel=0.006)
    zero = column(outcomes[:1], "residual_deflection_mm")
    slope = np.polyfit(np.arange(len(zero)), zero, 1)[0]
    assert slope == pytest.approx(drift, abs=ERRORS * 0.01 * AMPLITUDE * np.sqrt(12 / CYCLES**3))


@pytest.mark.parametrize(("samples", "word"), [(20, -99.0), (50, -99.0), (200, -99.0), (200, 0.0)])
def test_drop_outs_of_one_sample_in_a_hundred(samples: int, word: float) -> None:
    """Every cycle is counted; a lost sample cuts h³/2 of F·d·sin φ off its loop.

    A drop-out is told from the load itself where it is larger than five ordinary steps: with 20
    samples in a cycle that is 1.6 times the load's amplitude, so a zero would not do.
    """
    outcomes = [
        reduced(made(samples, seed, noise=0.01, lost=0.01, word=word)) for seed in range(SEEDS)
    ]
    for seed, outcome in enumerate(outcomes):
        clean = reduced(made(samples, seed, noise=0.01))
        assert outcome.table is not None
        assert clean.table is not None
        assert len(outcome.table["cycle"]) == len(clean.table["cycle"])
        assert "cyclic.dropouts" in outcome.codes()
    energy = column(outcomes, "loop_energy_kn_mm")
    h = 2.0 * np.pi / samples
    cut = 0.01 * samples * h**3 / 2.0 / np.pi
    allowed = ERRORS * energy_scatter(samples, 0.01) / np.sqrt(len(energy))
    assert energy.mean() == pytest.approx(
        ENERGY * polygon(samples), abs=allowed + (ENDS[samples] + cut) * ENERGY
    )
    stiffness = column(outcomes, "stiffness_regression_kn_mm")
    assert stiffness.mean() == pytest.approx(STIFFNESS * np.cos(PHASE), rel=0.003)
