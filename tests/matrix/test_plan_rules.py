"""What of a planned cell can still be changed: plain rules, without a database."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain import plan_rules as rules
from labmatrix.matrix.domain.plan_rules import Made


@given(st.integers(0, 20), st.integers(0, 20))
def test_never_fewer_planned_than_carry_a_label(replicates, created):
    made = Made(created, created)
    if replicates >= created:
        rules.check_planned("P2-LAB", replicates, made)
        return
    with pytest.raises(RuleBroken) as refused:
        rules.check_planned("P2-LAB", replicates, made)
    is_withdrawal = replicates == 0
    assert refused.value.code == ("cell.withdraw-made" if is_withdrawal else "cell.below-made")
    assert str(created) in refused.value.message


def test_a_reason_is_demanded_from_the_first_cast_on():
    assert rules.reason_for_cell("", "P2-LAB", Made(3, 0)) == rules.BEFORE_CASTING
    assert rules.reason_for_cell("drawings came", "P2-LAB", Made(3, 1)) == "drawings came"
    with pytest.raises(ShapeError) as refused:
        rules.reason_for_cell("  ", "P2-LAB", Made(3, 1))
    assert refused.value.message == rules.REASON_CELL.format(cast="1 specimen was", cell="P2-LAB")
    with pytest.raises(ShapeError) as refused:
        rules.reason_for_series("", rules.ADDED, Made(9, 2))
    assert refused.value.message == rules.REASON_SERIES.format(cast="2 specimens were")


def test_what_stays_is_said_by_what_was_made():
    assert rules.what_stays(Made()) == (rules.KEEPS_COMBINATION,)
    (code, count, route) = rules.what_stays(Made(2, 1))
    assert code == rules.KEEPS_CODE.format(labels="2 labels")
    assert "fewer than 2 specimens" in count
    assert route.startswith("2 specimens keep")


def test_a_plan_that_changed_meanwhile_is_not_written_over():
    rules.check_seen("", "now", "P2-LAB")
    rules.check_seen("now", "now", "P2-LAB")
    with pytest.raises(RuleBroken) as refused:
        rules.check_seen("before", "now", "P2-LAB")
    assert refused.value.message == rules.CHANGED_MEANWHILE.format(cell="P2-LAB")
