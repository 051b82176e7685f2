"""A clock in whole seconds under a fast logger: rows of one second share it."""

from __future__ import annotations

import json

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.evidence.domain.join import spread_equal_stamps
from labmatrix.evidence.domain.stamps import StampSpreader


def spread(time, cuts=()):
    spreader, parts = StampSpreader(time), []
    for part in np.split(time, sorted(cuts)):
        parts.append(spreader.spread(part))
        kept = json.loads(json.dumps(spreader.state()))
        spreader = StampSpreader(np.empty(0))
        spreader.go_on(kept)
    return np.concatenate(parts)


def test_a_fine_clock_stays_as_it_is():
    time = np.arange(50) / 10
    assert spread(time) is not None
    np.testing.assert_array_equal(spread(time), time)


def test_rows_of_one_second_share_it_evenly():
    true = 3.0 + np.arange(500) / 20
    np.testing.assert_allclose(spread(np.floor(true)), true, atol=1e-9)
    np.testing.assert_allclose(spread(np.floor(true)), spread_equal_stamps(np.floor(true)))


def test_time_never_runs_back_and_never_leaves_its_second():
    rng = np.random.default_rng(3)
    true = np.cumsum(rng.uniform(0.03, 0.07, 2000))
    stamps = np.floor(true)
    found = spread(stamps)
    assert (np.diff(found) >= 0).all()
    assert ((found >= stamps) & (found < stamps + 1)).all()
    assert np.abs(found - true)[100:].max() < 0.35


@given(st.lists(st.integers(0, 300), max_size=6), st.integers(0, 5))
def test_pieces_do_not_matter(cuts, gap):
    time = np.floor(np.arange(300) / 7)
    time[40 : 40 + gap] = np.nan
    np.testing.assert_array_equal(spread(time, cuts), spread(time))


def test_nothing_known_stays_unknown():
    missing = np.full(5, np.nan)
    np.testing.assert_array_equal(spread(missing), missing)
