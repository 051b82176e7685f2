"""Whatever a record holds, a reduction answers with finite numbers or with a sentence."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import UserError
from results.domain.reduction.break_test import BreakSettings, reduce_break
from results.domain.reduction.cycle_envelope import reduce_envelope
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.outcome import Outcome
from results.domain.reduction.variable_amplitude import reduce_counting

Floats = npt.NDArray[np.float64]


def _channel(kind: int, size: int, rng: np.random.Generator) -> Floats:
    made = (
        np.zeros(size),
        np.full(size, 3.0),
        rng.normal(size=size),
        rng.normal(size=size).cumsum(),
        np.abs(rng.normal(size=size)).cumsum(),
        np.round(np.linspace(0.0, 3.0, size)),
        np.linspace(0.0, 5.0, size),
        1e6 * rng.normal(size=size),
    )[kind]
    values: Floats = np.asarray(made, dtype=np.float64)
    values[rng.random(size) < rng.choice([0.0, 0.0, 0.05])] = np.nan
    return values


def _break(load: Floats, deflection: Floats, time: Floats) -> Outcome:
    return reduce_break(
        load_kn=load,
        deflection_mm=deflection,
        settlement_mm=[0.1 * deflection],
        time_s=time,
        settings=BreakSettings(bar_yield_strain=0.002),
        already_cracked=len(load) % 2 == 0,
        bar_strain=1e-3 * deflection,
    )


def _cyclic(load: Floats, deflection: Floats, time: Floats) -> Outcome:
    chosen = CyclicSettings(
        target_maximum_kn=5.0, cycles_by="load" if len(load) % 3 else "deflection"
    )
    return reduce_cyclic(load_kn=load, deflection_mm=deflection, time_s=time, settings=chosen)


def _envelope(load: Floats, deflection: Floats, time: Floats) -> Outcome:
    return reduce_envelope(load_kn=load, deflection_mm=deflection)


def _counting(load: Floats, deflection: Floats, time: Floats) -> Outcome:
    return reduce_counting(load_kn=load)


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("reduce", [_break, _cyclic, _envelope, _counting])
@given(
    seed=st.integers(0, 100_000),
    size=st.sampled_from([0, 1, 2, 3, 5, 20, 63, 64, 65, 100, 500]),
    kinds=st.tuples(st.integers(0, 7), st.integers(0, 7)),
    step=st.sampled_from([0.1, 0.0]),
)
@settings(max_examples=250, deadline=None)
def test_answers_with_finite_numbers_or_a_sentence(
    reduce: Callable[[Floats, Floats, Floats], Outcome],
    seed: int,
    size: int,
    kinds: tuple[int, int],
    step: float,
) -> None:
    rng = np.random.default_rng(seed)
    load, deflection = (_channel(kind, size, rng) for kind in kinds)
    time = np.linspace(0.0, step * size, size)
    try:
        outcome = reduce(load, deflection, time)
    except UserError as refused:
        answer = refused.as_dict()
    else:
        answer = {}
    if answer:
        assert answer["message"].endswith(".")
        assert "." in answer["code"]
        return
    canonical_json(outcome.settings)
    assert all(np.isfinite(found.value) for found in outcome.metrics)
    keys = [(found.name, found.method, found.at) for found in outcome.metrics]
    assert len(set(keys)) == len(keys)
    for mark in outcome.marks:
        assert 0 <= mark.index < size
    assert all(note.message.endswith(".") for note in outcome.warnings)
