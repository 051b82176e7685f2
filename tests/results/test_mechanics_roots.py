"""Roots of increasing functions, also of those that send Newton to and fro."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from results.domain.mechanics.roots import TIGHT, increasing_roots


@given(places=st.lists(st.floats(0.01, 0.99), min_size=1, max_size=30), start=st.floats(0.02, 0.98))
def test_a_root_where_every_newton_step_lands_on_the_other_side(places, start):
    """The sign of x - a times its root: plain Newton steps mirror x about a for ever."""
    wanted = np.array(places)

    def mirrored(x, index):
        gap = x - (wanted if index is None else wanted[index])
        with np.errstate(divide="ignore"):
            return np.sign(gap) * np.sqrt(np.abs(gap)), 0.5 / np.sqrt(np.abs(gap))

    ones = np.ones(len(wanted))
    found = increasing_roots(mirrored, 0.0 * ones, ones, start * ones)
    assert found == pytest.approx(wanted, abs=10 * TIGHT)
