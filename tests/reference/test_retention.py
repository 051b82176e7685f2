"""Retention and its confidence, against closed forms and published methods."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.inference.ratio import fieller, log_welch, log_welch_lower
from results.domain.inference.retention import (
    NO_GAIN,
    NO_TWIN,
    contribution_interval,
    contribution_retention,
    member_retention,
)
from tests.results import other_programme as other

# Numbers made so that every result follows from closed forms: the exposed values are 0.8 of the
# control's. Welch (1947) on logarithms; Fieller (1954); both worked out with scipy's t quantiles.
CONTROL = [10.0, 11.0, 9.0, 10.5, 9.5]
EXPOSED = [8.0, 8.8, 7.2, 8.4, 7.6]


def test_log_welch_interval():
    found = log_welch(EXPOSED, CONTROL)
    assert found.estimate == pytest.approx(0.8, abs=1e-12)
    assert (found.low, found.high) == pytest.approx((0.712608, 0.898109), abs=5e-7)


def test_one_sided_lower_limit_is_another_question_than_the_mean():
    assert log_welch_lower(EXPOSED, CONTROL) == pytest.approx(0.728748, abs=5e-7)


def test_fieller_with_pooled_and_with_separate_variances():
    pooled, separate = fieller(EXPOSED, CONTROL, pooled=True), fieller(EXPOSED, CONTROL)
    assert (pooled.low, pooled.high) == pytest.approx((0.709478, 0.899291), abs=5e-7)
    assert (separate.low, separate.high) == pytest.approx((0.712650, 0.898056), abs=5e-7)


def test_the_log_form_is_a_ratio_of_geometric_means():
    control, exposed = [10.0, 12.0, 8.0], [8.0, 8.2, 7.8]
    assert log_welch(exposed, control).estimate == pytest.approx(0.811, abs=5e-4)
    assert fieller(exposed, control).estimate == pytest.approx(0.800, abs=1e-12)


def test_a_control_that_cannot_be_told_from_zero_gives_an_unbounded_interval_that_says_so():
    found = fieller([1.0, 2.0, 3.0], [-5.0, 1.0, 6.0])
    assert (found.low, found.high) == (-math.inf, math.inf)
    assert "unbounded" in found.note


@given(st.lists(st.floats(1, 100), min_size=2, max_size=6), st.floats(0.1, 10))
def test_another_unit_changes_no_retention(values, factor):
    scaled = [v * factor for v in values]
    one, other_unit = log_welch(values, CONTROL), log_welch(scaled, [c * factor for c in CONTROL])
    assert other_unit.estimate == pytest.approx(one.estimate)
    assert other_unit.low == pytest.approx(one.low)


@given(st.lists(st.floats(1, 100), min_size=2, max_size=6))
def test_more_confidence_never_narrows_the_interval(values):
    narrow, wide = log_welch(values, CONTROL, confidence=0.9), log_welch(values, CONTROL)
    assert wide.low <= narrow.low <= narrow.estimate <= narrow.high <= wide.high


def test_a_member_whose_fabric_is_gone_still_seems_to_retain_most():
    # Flexural capacities in kN·m of one section by strain compatibility with the parabolic block:
    # without fabric 35.163, one ply 39.277, two plies 43.466.
    for capacity, ratio in ((39.277, 0.895), (43.466, 0.809)):
        assert member_retention([35.163], [capacity]).value == pytest.approx(ratio, abs=6e-4)
        gone = contribution_retention(
            strengthened_exposed=[35.163], unstrengthened_exposed=[35.163],
            strengthened_laboratory=[capacity], unstrengthened_laboratory=[35.163],
        )  # fmt: skip
        assert gone.value == 0.0


def test_the_contribution_scatters_far_more_than_the_member_ratio():
    # n = 3, coefficient of variation 3 %, two plies, nothing lost: 2.4 % against about 16 %.
    strong, bare = ([m * (1 + 0.03 * d) for d in (-1.0, 0.0, 1.0)] for m in (43.466, 35.163))
    member = member_retention(strong, strong)
    contribution = contribution_retention(
        strengthened_exposed=strong, unstrengthened_exposed=bare,
        strengthened_laboratory=strong, unstrengthened_laboratory=bare,
    )  # fmt: skip
    assert member.standard_error == pytest.approx(0.024, abs=1e-3)
    assert contribution.standard_error == pytest.approx(0.165, abs=0.01)


def test_the_programme_worked_out_by_hand():
    peaks = {"D0": [68.4, 75.6], "D3": [90.0, 97.2], "T0": [64.8], "T3": [77.76]}
    found = contribution_retention(
        strengthened_exposed=peaks["T3"], unstrengthened_exposed=peaks["T0"],
        strengthened_laboratory=peaks["D3"], unstrengthened_laboratory=peaks["D0"],
    )  # fmt: skip
    assert found.value == pytest.approx(other.CONTRIBUTION_RETENTION)
    assert found.standard_error is None
    member = member_retention(peaks["T3"], peaks["D3"])
    assert member.value == pytest.approx(other.MEMBER_RETENTION)


def test_what_has_no_answer_says_why():
    groups = {
        "strengthened_exposed": [9.0], "unstrengthened_exposed": [],
        "strengthened_laboratory": [10.0], "unstrengthened_laboratory": [8.0],
    }  # fmt: skip
    assert contribution_retention(**groups).note == NO_TWIN
    none = {**groups, "unstrengthened_exposed": [8.0], "strengthened_laboratory": [7.0]}
    assert contribution_retention(**none).note == NO_GAIN
    with pytest.raises(ShapeError):
        member_retention([], [1.0])
    with pytest.raises(RangeError):
        log_welch([1.0, -1.0], [1.0, 2.0])


def test_contribution_interval_is_fiellers_where_the_twins_are_known_exactly():
    # Twins without scatter that carry nothing: the contribution is the member itself, so the
    # published example of the two groups must come back, 0.712650 to 0.898056.
    found = contribution_interval(
        strengthened_exposed=[8, 8.8, 7.2, 8.4, 7.6],
        unstrengthened_exposed=[0.0, 0.0],
        strengthened_laboratory=[10, 11, 9, 10.5, 9.5],
        unstrengthened_laboratory=[0.0, 0.0],
    )
    assert found.estimate == pytest.approx(0.8)
    assert (found.low, found.high) == pytest.approx((0.712650, 0.898056), abs=1e-6)


def test_contribution_interval_is_unbounded_where_the_gain_cannot_be_told_from_nothing():
    found = contribution_interval(
        strengthened_exposed=[60.0, 66.0],
        unstrengthened_exposed=[58.0, 61.0],
        strengthened_laboratory=[62.0, 70.0],
        unstrengthened_laboratory=[60.0, 66.0],
    )
    assert (found.low, found.high) == (-math.inf, math.inf)
    assert "unbounded" in found.note


def test_contribution_interval_covers_as_often_as_it_says():
    # 2000 invented programmes with n = 3 and a true retention of 0.7, seed 20260301.
    draw = random.Random(20260301)
    truth = {"se": (80.0, 2.0), "ue": (66.0, 2.0), "sl": (90.0, 2.0), "ul": (70.0, 2.0)}
    hits = 0
    for _ in range(2000):
        groups = {k: [draw.gauss(*mean_s) for _ in range(3)] for k, mean_s in truth.items()}
        found = contribution_interval(
            strengthened_exposed=groups["se"],
            unstrengthened_exposed=groups["ue"],
            strengthened_laboratory=groups["sl"],
            unstrengthened_laboratory=groups["ul"],
        )
        hits += found.low <= 0.7 <= found.high
    assert 0.93 <= hits / 2000 <= 0.98


@pytest.mark.parametrize("short", ["strengthened_exposed", "unstrengthened_laboratory"])
def test_contribution_interval_refuses_one_specimen(short):
    groups = {
        "strengthened_exposed": [80.0, 81.0],
        "unstrengthened_exposed": [60.0, 61.0],
        "strengthened_laboratory": [90.0, 91.0],
        "unstrengthened_laboratory": [62.0, 63.0],
    }
    with pytest.raises(ShapeError, match="an interval needs at least 2"):
        contribution_interval(**{**groups, short: [70.0]})
