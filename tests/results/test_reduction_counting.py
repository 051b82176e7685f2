"""Turning points, rainflow and levels: properties, and the rainflow package as reference."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest
import rainflow as reference
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.reduction import counting, turning
from results.domain.reduction.compiled import COMPILE_FROM, compiled
from results.domain.reduction.counting import FatigueLine, level_crossings, rainflow
from results.domain.reduction.turning import turning_points

histories = st.lists(st.integers(-9, 9).map(float), min_size=3, max_size=60)


@given(histories)
@settings(max_examples=300, deadline=None)
def test_same_counts_as_the_rainflow_package(history: list[float]) -> None:
    expected: Counter[float] = Counter()
    for size, _, count, _, _ in reference.extract_cycles(history):
        if size > 0.0:
            expected[size] += count
    assert rainflow(history).by_range() == dict(expected)


def test_same_cycles_as_the_rainflow_package_on_a_long_random_history() -> None:
    history = np.random.default_rng(20).normal(size=60_000).cumsum()
    assert len(history) > COMPILE_FROM
    counted = rainflow(history)
    expected = sorted((r, m, c) for r, m, c, _, _ in reference.extract_cycles(history))
    found = sorted(zip(counted.ranges, counted.means, counted.counts, strict=True))
    assert np.array(found) == pytest.approx(np.array(expected), rel=1e-12, abs=1e-9)


@given(histories, st.floats(0.0, 4.0))
@settings(max_examples=200, deadline=None)
def test_turning_points_alternate_beyond_the_band(history: list[float], band: float) -> None:
    points = turning_points(history, band)
    assert points.value.tolist() == [history[k] for k in points.index]
    steps = np.diff(points.value)
    assert (np.abs(steps) > band).all()
    assert (steps[1:] * steps[:-1] < 0.0).all()
    assert (np.diff(points.index) > 0).all()
    if len(points.index) > 1:
        assert {max(points.value), min(points.value)} == {max(history), min(history)}


@given(histories, st.integers(0, 3))
@settings(max_examples=100, deadline=None)
def test_compiled_and_plain_loops_agree_to_the_last_bit(history: list[float], band: int) -> None:
    values = np.array(history)
    answers = []
    for scan in (turning.scan_kernel, compiled(turning.scan_kernel)):
        state_f, state_i = turning.new_state()
        index, kind = np.zeros(len(values) + 1, np.int64), np.zeros(len(values) + 1, np.int64)
        got = scan(values, 0, float(band), turning.NO_LIMIT, state_f, state_i, index, kind)
        answers.append((*got, index.tolist(), kind.tolist(), state_f.tolist(), state_i.tolist()))
    assert answers[0] == answers[1]
    counts = []
    for count in (counting.rainflow_kernel, compiled(counting.rainflow_kernel)):
        n = len(values)
        at = turning.reversals(values)
        room = np.zeros(n), np.zeros(n, np.int64), np.zeros(n, np.int64), np.zeros(n, np.int64)
        numbers = np.zeros((3, n))
        found = count(values, at, *room, numbers)
        counts.append((found, [a.tolist() for a in (*room[2:], numbers)]))
    assert counts[0] == counts[1]


@given(histories)
@settings(max_examples=200, deadline=None)
def test_reversals_without_a_band_are_those_of_the_scan(history: list[float]) -> None:
    values = np.array(history)
    room = np.zeros(len(values), np.int64), np.zeros(len(values), np.int64)
    plain = turning.reversal_kernel(values, room[0])
    quick = compiled(turning.reversal_kernel)(values, room[1])
    assert room[0][:plain].tolist() == room[1][:quick].tolist()
    points = turning_points(history)
    assert points.index.tolist() == room[0][:plain].tolist()
    scanned = turning_points(history, 5e-324)  # the least band of all, by the scan
    assert scanned.index.tolist() == points.index.tolist()
    assert scanned.kind.tolist() == points.kind.tolist()


@given(histories)
@settings(max_examples=100, deadline=None)
def test_every_range_is_counted_once(history: list[float]) -> None:
    """Each counted one removes two ranges between turning points, each half removes one."""
    points = turning_points(history)
    assert rainflow(history).counts.sum() == (len(points.index) - 1) / 2.0


def test_share_of_half_cycles() -> None:
    counted = rainflow([-2, 1, -3, 5, -1, 3, -4, 4, -2])
    halves = 0.5 * 3**5 + 0.5 * 4**5 + 0.5 * 6**5 + 1.0 * 8**5 + 0.5 * 9**5
    assert counted.half_cycle_share(5) == pytest.approx(halves / (halves + 4**5))
    with pytest.raises(RangeError, match="exponent"):
        counted.half_cycle_share(0.0)


def test_damage_needs_a_line_with_a_source() -> None:
    line = FatigueLine(160.0, 2e6, 3.0, source="stated in the test")
    counted = rainflow([0.0, 160.0] * 3 + [0.0])
    assert line.damage(counted) == pytest.approx(3.0 / 2e6)
    with_threshold = FatigueLine(160.0, 2e6, 3.0, source="stated in the test", threshold=160.0)
    assert with_threshold.damage(counted) == 0.0
    with pytest.raises(RangeError, match="source"):
        FatigueLine(160.0, 2e6, 3.0, source=" ")


def test_a_history_that_stays_within_the_band_has_one_turning_point() -> None:
    assert turning_points([1.0, 1.1, 1.0], 0.5).index.tolist() == [0]
    assert turning_points([], 0.5).index.tolist() == []
    assert len(rainflow([2.0, 2.0, 2.0]).ranges) == 0


def test_a_level_reached_exactly_is_crossed_once() -> None:
    assert level_crossings([0.0, 1.0, 2.0], [1.0]) == {1.0: 1}
    assert level_crossings([0.0, -1.0, -2.0], [-1.0]) == {-1.0: 1}


def test_refuses_histories_that_are_not_one_row_of_numbers() -> None:
    with pytest.raises(ShapeError, match="2 samples"):
        turning_points([1.0, np.nan, np.inf])
    with pytest.raises(ShapeError, match="shape"):
        rainflow([[1.0, 2.0]])
    with pytest.raises(RangeError, match="band"):
        turning_points([1.0, 2.0], -1.0)
