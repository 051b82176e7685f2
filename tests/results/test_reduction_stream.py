"""A record read in chunks gives what it gives in one piece."""

from __future__ import annotations

import json
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError, RuleBroken, ShapeError
from results.domain.reduction import cycles
from results.domain.reduction.compiled import COMPILE_FROM, compiled
from results.domain.reduction.cyclic import CyclicSettings, reduce_cyclic
from results.domain.reduction.cyclic_stream import CyclicStream
from results.domain.reduction.outcome import Outcome
from tests.results.cyclic_signals import Record, fatigue_record


def _dirty(seed: int) -> Record:
    """Noise, drift, missing samples, a gap, time that runs back, odd ends."""
    rng = np.random.default_rng(seed)
    record = fatigue_record(
        cycles=int(rng.integers(1, 30)),
        samples=int(rng.integers(8, 80)),
        noise_kn=0.1,
        noise_mm=0.01,
        drift_mm=1.0,
        start=float(rng.uniform(0.0, 1.0)),
        stop=float(rng.uniform(0.0, 1.0)),
        seed=seed,
    )
    size = len(record.load)
    record.load[rng.integers(0, size, 3)] = np.nan
    for channel in (record.load, record.deflection):
        at, length = int(rng.integers(size)), int(rng.integers(1, 25))
        channel[at : at + length] = rng.choice([0.0, -60.0, np.nan])
    if size > 60:
        record.time[int(rng.integers(size)) :] += rng.choice([0.0, 5.0, 100.0])
        record.time[int(rng.integers(size)) :] -= rng.choice([0.0, 0.0, 3.0])
    return record


def _in_chunks(record: Record, cuts: list[int], chosen: CyclicSettings, timed: bool) -> Outcome:
    stream = CyclicStream(chosen, cycle_offset=7)
    tables: list[Any] = []
    edges = [0, *sorted(cut % (len(record.load) + 1) for cut in cuts), len(record.load)]
    for start, stop in pairwise(edges):
        piece = slice(start, stop)
        # One array is filled anew for each chunk, as a reader does.
        chunk = [a[piece].copy() for a in (record.load, record.deflection, record.time)]
        stream.feed(*(chunk if timed else chunk[:2]))
        for array in chunk:
            array[:] = -1e9
        tables.append(stream.finished_cycles())
        if start % 2:
            stream = CyclicStream.from_state(json.loads(json.dumps(stream.state_dict())))
    stream.close()
    tables.append(stream.finished_cycles())
    table = {name: np.concatenate([t[name] for t in tables]) for name in tables[0]}
    return stream.outcome(table)


def _same(a: Outcome, b: Outcome) -> None:
    assert a.metrics == b.metrics
    assert a.warnings == b.warnings
    assert a.settings == b.settings
    assert a.table is not None
    assert b.table is not None
    assert list(a.table) == list(b.table) == list(cycles.COLUMNS)
    for name, values in a.table.items():
        np.testing.assert_array_equal(values, b.table[name], err_msg=name)


@given(
    seed=st.integers(0, 10_000),
    cuts=st.lists(st.integers(0, 3_000), max_size=6),
    timed=st.booleans(),
    cycles_by=st.sampled_from(["load", "deflection"]),
    head=st.sampled_from([64, 300, CyclicStream.HEAD]),
)
@settings(max_examples=120, deadline=None)
def test_any_chunking_and_resuming_gives_the_same(
    seed: int, cuts: list[int], timed: bool, cycles_by: str, head: int
) -> None:
    record = _dirty(seed)
    chosen = CyclicSettings.from_dict({"cycles_by": cycles_by, "longest_cycle_samples": 1_000})
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(CyclicStream, "HEAD", head)
        whole = reduce_cyclic(
            load_kn=record.load,
            deflection_mm=record.deflection,
            time_s=record.time if timed else None,
            cycle_offset=7,
            settings=chosen,
        )
        _same(_in_chunks(record, cuts, chosen, timed), whole)


def test_compiled_and_plain_passes_agree_to_the_last_bit(monkeypatch: pytest.MonkeyPatch) -> None:
    record = fatigue_record(cycles=120, noise_kn=0.1, noise_mm=0.01)
    assert len(record.load) > COMPILE_FROM
    fast = reduce_cyclic(load_kn=record.load, deflection_mm=record.deflection, time_s=record.time)
    monkeypatch.setattr("results.domain.reduction.compiled.COMPILE_FROM", 10**9)
    slow = reduce_cyclic(load_kn=record.load, deflection_mm=record.deflection, time_s=record.time)
    _same(fast, slow)


@given(st.integers(0, 1_000), st.integers(1, 9))
@settings(max_examples=60, deadline=None)
def test_compiled_and_plain_fits_agree_to_the_last_bit(seed: int, half: int) -> None:
    rng = np.random.default_rng(seed)
    load, deflection = rng.normal(size=40).cumsum(), rng.normal(size=40).cumsum()
    at, ones = np.array([15, 20, 25]), np.ones(3, dtype=np.int64)
    fitted = []
    for fit in (cycles.fit_kernel, compiled(cycles.fit_kernel)):
        out = np.zeros(3), np.zeros(3), np.zeros(3, np.int64)
        fit(load, deflection, at, 0 * ones, 39 * ones, half * ones, 1, 0.3, *out)
        fitted.append([a.tolist() for a in out])
    assert fitted[0] == fitted[1]
    measured = []
    for loop in (cycles.loop_kernel, compiled(cycles.loop_kernel)):
        found = np.zeros(2), np.zeros(2), np.zeros(2, np.int64), np.zeros(2, np.int64)
        loop(load, deflection, at[:2], at[1:], *found)
        measured.append([a.tolist() for a in found])
    assert measured[0] == measured[1]


def _kept(stream: CyclicStream) -> int:
    """Samples that a stream holds on to."""
    state = stream.state_dict()
    held = [state["head"]]
    if state["finder"] is not None:
        held += [state["finder"]["buffer"], state["dropouts"]["held"]]
    return sum(len(buffer["samples"]["load"]) for buffer in held)


def test_what_is_kept_stays_bounded_while_cycles_are_drained() -> None:
    """Beyond the head, in which the noise is judged, about the open cycle is kept."""
    record = fatigue_record(cycles=100, samples=500, noise_kn=0.05)
    stream = CyclicStream(CyclicSettings())
    seen, kept = 0, []
    for turn in range(8):
        stream.feed(record.load, record.deflection, record.time + turn * (record.time[-1] + 1e-3))
        seen += len(stream.finished_cycles()["cycle"])
        kept.append(_kept(stream))
    assert seen >= 790
    assert max(kept) <= CyclicStream.HEAD
    assert max(kept[4:]) <= 2 * (500 + 2 * cycles.WINDOW_MAX)


def test_a_standstill_does_not_fill_the_memory() -> None:
    still = np.full(60_000, 8.0)
    chosen = CyclicSettings(longest_cycle_samples=1_000)
    record = fatigue_record(cycles=450, samples=500)
    stream = CyclicStream(chosen)
    stream.feed(record.load, record.deflection)
    stream.feed(still, still)
    assert len(stream.finished_cycles()["cycle"]) == 450
    assert _kept(stream) <= 2_100
    stream.feed(record.load, record.deflection)
    stream.close()
    assert len(stream.finished_cycles()["cycle"]) == 450
    assert "cyclic.standstill" in stream.outcome().codes()


def test_a_folder_that_cannot_be_written_does_not_stop_a_reduction(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import numba

    real = numba.njit

    def without_folder(*, cache: bool = False, **more: Any) -> Any:
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return real(**more)

    monkeypatch.setattr(numba, "njit", without_folder)

    def plus_one(value: float) -> float:
        return value + 1.0

    assert compiled(plus_one)(2.0) == 3.0


def test_refuses_what_would_lose_or_mix_samples() -> None:
    stream = CyclicStream(CyclicSettings())
    stream.feed([1.0, 2.0], [0.0, 1.0], [0.0, 0.1])
    with pytest.raises(ShapeError, match="all or none"):
        stream.feed([1.0], [1.0])
    with pytest.raises(ShapeError, match="one length"):
        stream.feed([1.0, 2.0], [1.0], [0.0, 1.0])
    with pytest.raises(RuleBroken, match="close the stream"):
        stream.outcome()
    stream.close()
    stream.close()
    with pytest.raises(RuleBroken, match="closed"):
        stream.feed([1.0], [1.0], [2.0])
    with pytest.raises(RangeError, match="cycle_offset"):
        CyclicStream(CyclicSettings(), cycle_offset=-1)


def test_a_state_is_refused_while_cycles_wait_or_when_its_version_is_unknown() -> None:
    record = fatigue_record(cycles=3)
    stream = CyclicStream(CyclicSettings())
    stream.feed(record.load, record.deflection, record.time)
    stream.close()
    with pytest.raises(RuleBroken, match="drain"):
        stream.state_dict()
    assert len(stream.finished_cycles()["cycle"]) == 3
    state = stream.state_dict()
    assert CyclicStream.from_state(state).outcome() == stream.outcome()
    with pytest.raises(ShapeError, match="version"):
        CyclicStream.from_state(state | {"version": 99})
