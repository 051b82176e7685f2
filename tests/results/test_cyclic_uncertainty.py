"""The stated uncertainty of cycle metrics is that which drawing the noise anew gives.

Monte Carlo (JCGM 101) on records with known noise is the check of every closed form.
"""

from __future__ import annotations

import math
from collections import defaultdict
from typing import Any

import numpy as np
import pytest

from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.cyclic_stream import CyclicStream
from results.domain.reduction.cyclic_uncertainty import judge_cycles, parabola_noise
from results.domain.reduction.instruments import Instrument, Judged
from tests.results.cyclic_signals import fatigue_record

LOAD = Instrument("LC-3, INV-0001", scale_u=0.005, zero_u=0.02)
DEFLECTION = Instrument("LVDT-2, INV-0002", scale_u=0.004, zero_u=0.003)
PLAIN = Instrument("without calibration")
DRAWS = 120


def judged(
    seed: int = 1, *, load: Instrument = PLAIN, deflection: Instrument = PLAIN,
    noise: tuple[float, float] = (0.05, 0.008), samples: int = 100, rounded: bool = False,
    **asked: Any,
) -> Judged:  # fmt: skip
    record = fatigue_record(
        cycles=30, samples=samples, noise_kn=noise[0], noise_mm=noise[1], seed=seed
    )
    if rounded:
        record.load[:] = np.round(2.0 * record.load) / 2.0
    settings = CyclicSettings.from_dict({"checkpoints": [1, 10, 20], **asked})
    stream = CyclicStream(settings)
    stream.feed(record.load, record.deflection, record.time)
    stream.close()
    stream.finished_cycles()
    resolved = stream.resolved()
    return judge_cycles(stream.outcome(), stream.keeper, resolved, load=load, deflection=deflection)


@pytest.mark.parametrize(
    "asked",
    [
        {},
        {"extremes": "sampled"},
        {"stiffness": "deflection-extremes"},
        {"stiffness": "regression"},
        {"reference": "first-ten"},
        {"reference": "cycle", "reference_cycle": 10},
    ],
)
def test_what_noise_does_is_what_the_budget_says(asked: dict[str, Any]):
    drawn, stated = defaultdict(list), defaultdict(list)
    for seed in range(DRAWS):
        for found in judged(seed, target_maximum_kn=40.0, **asked).outcome.metrics:
            if found.u is not None:
                drawn[found.name, found.at].append(found.value)
                stated[found.name, found.at].append(found.u)
    names = {name for name, _ in drawn}
    assert names == {
        "cycle_peak_load", "cycle_valley_load", "secant_stiffness", "stiffness_ratio",
        "stiffness_loss", "loop_energy", "residual_deflection", "residual_drift", "load_error",
    }  # fmt: skip
    for key, values in drawn.items():
        u = float(np.mean(stated[key]))
        spread = float(np.std(values, ddof=1))
        if u == 0.0:
            assert spread == pytest.approx(0.0, abs=1e-12)
            continue
        # The standard deviation of 120 draws is known to 6.5 %. A sampled extreme of noise is
        # biased outwards and scatters less than a sample; where it lies wavers, and with it the
        # deflection that is read there.
        low, high = (0.5, 1.45) if asked.get("extremes") == "sampled" else (0.78, 1.25)
        assert low < spread / u < high, key


def test_calibration_moves_stiffness_and_leaves_its_ratio_alone():
    bare, known = judged(), judged(load=LOAD, deflection=DEFLECTION)
    for name, at, relative in (
        ("secant_stiffness", 20, math.hypot(0.005, 0.004)),
        ("loop_energy", 20, math.hypot(0.005, 0.004)),
        ("stiffness_ratio", 20, 0.0),
        ("residual_drift", 20, 0.004),
    ):
        found, alone = known.outcome.get(name, at=at), bare.outcome.get(name, at=at)
        assert found.u is not None
        assert alone.u is not None
        assert found.u == pytest.approx(math.hypot(alone.u, relative * found.value), rel=1e-9)
    peak = known.outcome.get("cycle_peak_load", at=20)
    assert peak.u == pytest.approx(math.hypot(0.005 * 40.0, 0.02), rel=0.02)


def test_the_budget_adds_up_and_names_its_sources():
    known = judged(load=LOAD, deflection=DEFLECTION)
    for budget in known.budgets.values():
        assert budget.u == pytest.approx(
            math.sqrt(math.fsum(row.contribution**2 for row in budget.rows)), rel=1e-12
        )
    found = known.outcome.get("secant_stiffness", at=20)
    rows = {row.source: row for row in known.budgets["secant_stiffness", found.method, 20].rows}
    assert set(rows) == {
        "scale of load: LC-3, INV-0001", "scale of deflection: LVDT-2, INV-0002",
        "fit of load", "fit of deflection",
    }  # fmt: skip
    assert rows["scale of load: LC-3, INV-0001"].contribution == pytest.approx(0.005 * found.value)
    assert rows["scale of deflection: LVDT-2, INV-0002"].sensitivity == pytest.approx(-found.value)


def test_the_reference_itself_has_a_ratio_of_one_without_doubt():
    ratio = judged(load=LOAD).outcome.get("stiffness_ratio", at=1)
    assert (ratio.value, ratio.u) == (1.0, 0.0)


def test_against_a_given_stiffness_the_calibration_counts():
    known = judged(
        load=LOAD, deflection=DEFLECTION, reference="stiffness", reference_stiffness_kn_mm=6.4
    )
    ratio = known.outcome.get("stiffness_ratio", at=20)
    assert ratio.u is not None
    assert ratio.u > math.hypot(0.005, 0.004) * ratio.value


def test_steps_of_a_coarse_channel_are_a_row_of_their_own():
    known = judged(noise=(0.005, 0.002), rounded=True)
    rows = {row.source: row for row in known.budgets["cycle_peak_load", None, 20].rows}
    assert rows["resolution of load"].u == pytest.approx(0.5 / math.sqrt(12.0))


def test_frequency_and_settling_have_no_uncertainty():
    outcome = judged(load=LOAD).outcome
    assert {f.name for f in outcome.metrics if f.u is None} <= {"frequency", "settles_at"}


def test_a_parabola_through_its_own_points_averages_as_least_squares_does():
    assert parabola_noise(1) == parabola_noise(3) == 1.0
    assert parabola_noise(5) == pytest.approx(math.sqrt(17.0 / 35.0))
    assert parabola_noise(101) == pytest.approx(math.sqrt(9.0 / 4.0 / 101.0), rel=1e-3)
