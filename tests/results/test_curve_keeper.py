"""The light curve of a long record keeps what a reader would look for, whatever the chunks."""

from __future__ import annotations

import json
from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from results.domain.curve_keeper import CurveKeeper, KeptCurve


def _fed(x, y, cuts: list[int], at_most: int) -> KeptCurve:
    keeper = CurveKeeper(at_most)
    for a, b in pairwise([0, *sorted(cut % (len(x) + 1) for cut in cuts), len(x)]):
        keeper.feed(x[a:b].copy(), y[a:b].copy())
        keeper = CurveKeeper.from_state(json.loads(json.dumps(keeper.state())))
    assert keeper.of_rows == len(x)
    return keeper.kept()


@given(
    st.integers(0, 3000),
    st.integers(0, 10_000),
    st.lists(st.integers(0, 2999), max_size=5),
    st.sampled_from([20, 50, 333]),
)
@settings(max_examples=150, deadline=None)
def test_extremes_ends_and_order_stay_and_chunks_do_not_matter(size, seed, cuts, at_most):
    rng = np.random.default_rng(seed)
    x, y = rng.normal(size=size).cumsum(), rng.normal(size=size)
    x[rng.random(size) < 0.05] = np.nan
    kept, at_once = _fed(x, y, cuts, at_most), _fed(x, y, [], at_most)
    for name in ("rows", "x", "y"):
        np.testing.assert_array_equal(getattr(kept, name), getattr(at_once, name))
    good = np.flatnonzero(np.isfinite(x))
    assert len(kept.rows) <= at_most + 1
    np.testing.assert_array_equal(kept.x, x[kept.rows])
    np.testing.assert_array_equal(kept.y, y[kept.rows])
    assert (np.diff(kept.rows) > 0).all()
    if len(good) <= at_most:
        np.testing.assert_array_equal(kept.rows, good)
        return
    assert {int(good[0]), int(good[-1])} <= set(kept.rows.tolist())
    for values, found in ((x[good], kept.x), (y[good], kept.y)):
        assert (values.min(), values.max()) == (found.min(), found.max())


def test_a_long_record_is_kept_by_compiled_code_alike(monkeypatch):
    turns = np.arange(60_000) / 200
    x, y = np.sin(2 * np.pi * turns), np.cos(2 * np.pi * turns) * (1 + turns / 300)
    fast = _fed(x, y, [1, 17_000, 33_333], 2000)
    monkeypatch.setattr("results.domain.reduction.compiled.COMPILE_FROM", 10**9)
    slow = _fed(x, y, [], 2000)
    np.testing.assert_array_equal(fast.rows, slow.rows)
    assert 600 < len(fast.rows) <= 2001
