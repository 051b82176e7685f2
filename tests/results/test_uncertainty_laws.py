"""What must hold of every stated uncertainty: laws, and an independent Monte Carlo (JCGM 101).

The Monte Carlo here draws calibration errors and noise itself and runs the bare reductions, so it
shares nothing with the code that states the uncertainty but the reductions.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from results.domain.reduction.break_test import reduce_break
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.cyclic_stream import CyclicStream
from results.domain.reduction.cyclic_uncertainty import judge_cycles
from results.domain.reduction.instruments import Instrument, Judged, judge
from results.domain.reduction.outcome import Floats, Outcome
from results.domain.reduction.uncertainty import Input, combine, effective_dof
from tests.results.cyclic_signals import fatigue_record

CURVE = ([0.0, 1.0, 6.0, 10.0, 25.0, 35.0, 40.0], [0.0, 15.0, 60.0, 66.0, 72.0, 60.0, 50.0])
DEFLECTION = np.concatenate([np.zeros(150), np.linspace(0.0, 40.0, 1_200)])
LOAD = np.interp(DEFLECTION, *CURVE)
SIGMA = (0.05, 0.004)


def _break(load: Floats, deflection: Floats) -> Outcome:
    return reduce_break(load_kn=load, deflection_mm=deflection, already_cracked=False)


def _noisy(rng: np.random.Generator) -> tuple[Floats, Floats]:
    size = len(LOAD)
    return LOAD + rng.normal(0, SIGMA[0], size), DEFLECTION + rng.normal(0, SIGMA[1], size)


def _judged_break(load: Instrument, deflection: Instrument, draws: int = 20) -> Judged:
    p, d = _noisy(np.random.default_rng(5))
    return judge(
        _break, load_kn=p, deflection_mm=d, load=load, deflection=deflection, seed=9, draws=draws
    )


def _judged_cycles(load: Instrument, deflection: Instrument) -> Judged:
    record = fatigue_record(cycles=20, samples=60, noise_kn=0.05, noise_mm=0.008, seed=3)
    stream = CyclicStream(CyclicSettings.from_dict({"checkpoints": [1, 10]}))
    stream.feed(record.load, record.deflection, record.time)
    stream.close()
    stream.finished_cycles()
    resolved = stream.resolved()
    return judge_cycles(stream.outcome(), stream.keeper, resolved, load=load, deflection=deflection)


def _all_u(judged: Judged) -> dict[object, float]:
    return {(f.name, f.method, f.at): f.u for f in judged.outcome.metrics if f.u is not None}


# -- laws ---------------------------------------------------------------------------------------

FIELDS = ("scale_u", "zero_u", "resolution")


@pytest.mark.parametrize("field", FIELDS)
@pytest.mark.parametrize("channel", [0, 1])
@pytest.mark.parametrize("judged", [_judged_cycles, _judged_break])
def test_knowing_a_sensor_less_well_never_lowers_an_uncertainty(judged, channel: int, field: str):
    """Twice the uncertainty of one input, the same draws of noise: no combined one is lower."""
    sensors = [
        Instrument("load cell", scale_u=0.003, zero_u=0.02, resolution=0.01),
        Instrument("transducer", scale_u=0.002, zero_u=0.003, resolution=0.001),
    ]
    before = _all_u(judged(*sensors))
    name = f"{'load cell' if channel == 0 else 'transducer'}"
    told = {f: getattr(sensors[channel], f) for f in FIELDS} | {
        field: 2.0 * getattr(sensors[channel], field)
    }
    sensors[channel] = Instrument(name, **told)
    after = _all_u(judged(*sensors))
    assert before.keys() == after.keys()
    if judged is _judged_break:
        # Where a metric goes by Monte Carlo its u is known to 1/√(2·19) of itself only.
        steady = {k for k in before if after[k] >= before[k] * (1.0 - 1e-9)}
        wavering = set(before) - steady
        assert all(after[k] >= 0.7 * before[k] for k in wavering)
        assert len(wavering) <= 3
    else:
        assert all(after[key] >= before[key] * (1.0 - 1e-12) for key in before)


_contribution = st.floats(0.0, 100.0)
_dof = st.floats(1.0, 200.0)


@given(st.lists(st.tuples(_contribution, _dof), min_size=1, max_size=6), st.integers(0, 5))
@settings(max_examples=200, deadline=None)
def test_a_larger_contribution_never_lowers_u_nor_a_smaller_one_raises_it(rows, place: int):
    def budget(factor: float) -> float:
        inputs = [
            Input(f"input {k}", 0.0, u * (factor if k == place % len(rows) else 1.0), dof)
            for k, (u, dof) in enumerate(rows)
        ]
        return combine(1.0, inputs, [1.0] * len(inputs)).u

    assert budget(0.5) <= budget(1.0) * (1 + 1e-12)
    assert budget(1.0) <= budget(2.0) * (1 + 1e-12)


@given(st.lists(st.tuples(st.floats(0.01, 100.0), _dof), min_size=1, max_size=6))
@settings(max_examples=200, deadline=None)
def test_effective_degrees_of_freedom_lie_between_the_least_and_the_sum(rows):
    """JCGM 100, G.4.1: at most the sum of the parts, never below the least of them."""
    u = math.sqrt(math.fsum(c * c for c, _ in rows))
    found = effective_dof(u, [c for c, _ in rows], [dof for _, dof in rows])
    assert min(dof for _, dof in rows) * (1 - 1e-9) <= found
    assert found <= math.fsum(dof for _, dof in rows) * (1 + 1e-9)


@given(st.floats(1.0, 300.0))
@settings(max_examples=60, deadline=None)
def test_fewer_degrees_of_freedom_never_lower_the_coverage_factor(dof: float):
    one = combine(1.0, [Input("a", 0.0, 1.0, dof)], [1.0])
    more = combine(1.0, [Input("a", 0.0, 1.0, dof + 5.0)], [1.0])
    assert one.coverage_factor(0.95) >= more.coverage_factor(0.95) >= 1.9599


@given(st.floats(0.1, 10.0), st.floats(0.1, 10.0))
@settings(max_examples=8, deadline=None)
def test_uncertainty_follows_the_units_of_a_cycle(load: float, deflection: float):
    """Channels in other units, sensors with them: u of kN^p mm^q goes as the value does."""
    record = fatigue_record(cycles=12, samples=50, noise_kn=0.05, noise_mm=0.008, seed=4)

    def judged(p: float, d: float) -> Judged:
        stream = CyclicStream(CyclicSettings.from_dict({"checkpoints": [1, 10]}))
        stream.feed(p * record.load, d * record.deflection, record.time)
        stream.close()
        stream.finished_cycles()
        return judge_cycles(
            stream.outcome(), stream.keeper, stream.resolved(),
            load=Instrument("a", scale_u=0.003, zero_u=0.02 * p),
            deflection=Instrument("b", scale_u=0.002, zero_u=0.003 * d),
        )  # fmt: skip

    powers = {"kN": load, "mm": deflection, "kN/mm": load / deflection, "kN·mm": load * deflection}
    one, other = judged(1.0, 1.0), judged(load, deflection)
    for a, b in zip(one.outcome.metrics, other.outcome.metrics, strict=True):
        if a.u is not None:
            assert b.u == pytest.approx(a.u * powers.get(a.unit, 1.0), rel=1e-4), a.name


# -- an independent Monte Carlo -----------------------------------------------------------------

DRAWS = 150
# The standard deviation of 150 draws is known to 1/√(2·149) = 5.8 % (one standard deviation), the
# stated scatter of 60 draws to 9 %; bounds are three of both together.
BOUND = 3.0 * math.hypot(1.0 / math.sqrt(2 * 149), 1.0 / math.sqrt(2 * 59))


def test_break_numbers_against_an_independent_monte_carlo():
    """Load cell 0.5 %, transducer 0.4 %, white noise: each u within ±33 % of what drawing gives."""
    p = Instrument("load cell", scale_u=0.005)
    d = Instrument("transducer", scale_u=0.004)
    stated = _judged_break(p, d, draws=60)
    rng = np.random.default_rng(77)
    drawn: dict[object, list[float]] = {}
    for _ in range(DRAWS):
        load, deflection = _noisy(rng)
        outcome = _break(
            load * (1 + rng.normal(0, p.scale_u)), deflection * (1 + rng.normal(0, d.scale_u))
        )
        for found in outcome.metrics:
            drawn.setdefault((found.name, found.method, found.at), []).append(found.value)
    names = ("peak_load", "yield_load", "yield_deflection", "cracked_stiffness",
             "energy_to_ultimate", "initial_stiffness", "first_crack_load")  # fmt: skip
    compared = 0
    for key, u in _all_u(stated).items():
        assert isinstance(key, tuple)
        if key[0] in names and len(drawn[key]) == DRAWS:
            spread = float(np.std(drawn[key], ddof=1))
            assert abs(u / spread - 1.0) < BOUND, (key, u, spread)
            compared += 1
    assert compared >= 8


def test_cycle_numbers_against_an_independent_monte_carlo():
    """The closed forms with calibration errors drawn as well: within three standard deviations."""
    p = Instrument("load cell", scale_u=0.005, zero_u=0.05)
    d = Instrument("transducer", scale_u=0.004, zero_u=0.01)
    rng = np.random.default_rng(31)
    asked = CyclicSettings.from_dict({"checkpoints": [1, 10], "noise_band": 2.0})
    drawn: dict[object, list[float]] = {}
    for seed in range(DRAWS):
        made = fatigue_record(cycles=12, samples=60, noise_kn=0.05, noise_mm=0.008, seed=seed)
        outcome = reduce_cyclic(
            load_kn=made.load * (1 + rng.normal(0, p.scale_u)) + rng.normal(0, p.zero_u),
            deflection_mm=made.deflection * (1 + rng.normal(0, d.scale_u))
            + rng.normal(0, d.zero_u),
            time_s=made.time,
            settings=asked,
        )
        for found in outcome.metrics:
            drawn.setdefault((found.name, found.method, found.at), []).append(found.value)
    compared = 0
    for key, u in _all_u(_judged_cycles(p, d)).items():
        if key not in drawn or len(drawn[key]) < DRAWS or u == 0.0:
            continue
        spread = float(np.std(drawn[key], ddof=1))
        assert abs(u / spread - 1.0) < BOUND, (key, u, spread)
        compared += 1
    assert compared >= 12
