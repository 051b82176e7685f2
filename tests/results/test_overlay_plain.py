"""Many long curves on one drawing: light, every extreme kept; means with their intervals."""

from __future__ import annotations

import json
import statistics

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from results.domain.curve import kept_rows
from results.domain.inference.mean import mean_interval
from results.domain.overlay import band_of, points_each, thinned

CURVES, ROWS, STORED = 100, 100_000, 2000


def seven(value: float) -> float:
    return float(f"{value:.7g}")


def long_curve(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """A rising, falling load with noise, a spike up and a dip that one row alone has."""
    random = np.random.default_rng(seed)
    x = np.linspace(0.0, 40.0 + seed / 10, ROWS) + random.normal(0.0, 0.002, ROWS)
    y = 90.0 * np.tanh(x / 8.0) - 0.4 * x + random.normal(0.0, 0.05, ROWS)
    up, down = random.integers(100, ROWS - 100, 2)
    y[up] += 40.0
    y[down] -= 55.0
    return x, y


def test_a_hundred_curves_of_a_hundred_thousand_points_are_light_and_keep_their_extremes():
    full, traces = 0, []
    for seed in range(CURVES):
        x, y = long_curve(seed)
        full += x.nbytes + y.nbytes  # eight bytes a number, fewer than as text
        rows = kept_rows(x, y, at_most=STORED)  # as the record's own curve is kept
        drawn_x, drawn_y = thinned(x[rows], y[rows], at_most=points_each(CURVES))
        for whole, drawn in ((x, drawn_x), (y, drawn_y)):
            assert seven(float(whole.max())) == max(drawn)
            assert seven(float(whole.min())) == min(drawn)
        traces.append({"x": drawn_x, "y": drawn_y})
    sent = len(json.dumps(traces))
    assert sent <= full / 100
    assert sent < 1_000_000


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-1e4, 1e4), st.floats(-1e4, 1e4)), min_size=1, max_size=900),
    st.integers(10, 200),
)
def test_thinning_keeps_every_extreme_of_any_curve(points, at_most):
    x, y = [p[0] for p in points], [p[1] for p in points]
    drawn_x, drawn_y = thinned(x, y, at_most=at_most)
    assert (min(drawn_x), max(drawn_x)) == (seven(min(x)), seven(max(x)))
    assert (min(drawn_y), max(drawn_y)) == (seven(min(y)), seven(max(y)))
    assert len(drawn_x) == len(drawn_y) <= max(at_most + 5, len(set(points)))


def test_the_more_curves_the_fewer_points_each():
    shares = [points_each(n) for n in (0, 1, 10, 40, 100, 200, 1000)]
    assert shares == sorted(shares, reverse=True)
    assert (shares[0], shares[-1]) == (600, 120)


def test_the_interval_of_a_mean_is_students():
    # t(0.975; 4) = 2.776 as in the tables of every textbook, recalled: s = 1.5811 for 1 to 5.
    found = mean_interval([1.0, 2.0, 3.0, 4.0, 5.0])
    assert found.mean == 3.0
    assert found.half == pytest.approx(2.776 * 1.5811388 / 5**0.5, rel=1e-3)
    assert mean_interval([7.0]).half is None
    with pytest.raises(ValueError, match="at least one"):
        mean_interval([])


def test_a_band_stands_where_two_share_a_load_cycle():
    first, second = {1.0: 1.0, 10.0: 0.9, 100.0: 0.8}, {1.0: 1.0, 10.0: 0.8, 1000.0: 0.5}
    band = band_of([first, second])
    assert band is not None
    assert band.at == (1.0, 10.0)
    assert band.mean == pytest.approx((1.0, 0.85))
    half = 12.706 * statistics.stdev([0.9, 0.8]) / 2**0.5  # t(0.975; 1) = 12.706, recalled
    assert band.high[1] - band.mean[1] == pytest.approx(half, rel=1e-3)
    assert band.low[0] == band.high[0] == 1.0
    assert band_of([first]) is None
    assert band_of([first, {7.0: 1.0}]) is None
