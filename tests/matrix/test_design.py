"""Which combinations a matrix holds."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.matrix.domain.design import (
    FactorKind,
    ForbiddenPlan,
    MatrixState,
    check_replicates,
    combination_in_words,
    combination_key,
    factorial_size,
    full_factorial,
    named_levels,
    route_levels,
)
from labmatrix.matrix.domain.matrix_plan import plan_factorial
from tests.matrix.plans import EXPOSURE, PLIES, QUAYSIDE, SUSTAINED, factor, factor_lists


def test_the_last_factor_changes_fastest():
    assert list(full_factorial((PLIES, SUSTAINED)))[:3] == [("0", "0"), ("0", "40"), ("1", "0")]


@settings(deadline=None)
@given(factor_lists())
def test_a_full_factorial_holds_every_combination_once(factors):
    found = list(full_factorial(factors))
    assert len(found) == len(set(found)) == math.prod(len(f.levels) for f in factors)
    assert found == sorted(
        found,
        key=lambda combination: [
            [lv.value for lv in f.levels].index(value)
            for f, value in zip(factors, combination, strict=True)
        ],
    )


@settings(deadline=None)
@given(factor_lists(), st.data())
def test_a_forbidden_combination_takes_away_exactly_its_cells(factors, data):
    chosen = {f.name: data.draw(st.sampled_from([lv.value for lv in f.levels])) for f in factors}
    kept = data.draw(st.sets(st.sampled_from(sorted(chosen)), min_size=1))
    rule = ForbiddenPlan({name: chosen[name] for name in kept}, "they do not go together")
    everything = list(full_factorial(factors))
    left = list(full_factorial(factors, [rule]))
    gone = math.prod(len(f.levels) for f in factors if f.name not in kept)
    assert len(everything) - len(left) == gone
    assert [c for c in everything if not rule.forbids(named_levels(factors, c))] == left


def test_no_factors_give_no_cells():
    assert factorial_size(()) == 0
    assert list(full_factorial(())) == []


def test_refuses_a_factorial_that_no_laboratory_casts():
    wide = [factor(f"f{n}", FactorKind.NAMED, [f"level {m}" for m in range(13)]) for n in range(3)]
    with pytest.raises(RangeError) as refused:
        next(full_factorial(wide))
    assert refused.value.code == "matrix.too-many-cells"
    assert refused.value.facts["value"] == 13**3


@settings(deadline=None)
@given(st.permutations(["plies", "exposure", "sustained"]))
def test_the_key_of_a_combination_does_not_know_the_order_of_factors(names):
    levels = {"plies": "2", "exposure": "freeze–thaw", "sustained": "40"}
    assert combination_key({name: levels[name] for name in names}) == combination_key(levels)


def test_words_carry_the_unit():
    words = combination_in_words(QUAYSIDE.factors, ("2", "freeze–thaw", "40"))
    assert words == "plies 2, exposure freeze–thaw, sustained 40 %"


def test_a_label_stands_for_its_level():
    levels = tuple(replace(lv, label="two plies" if lv.value == "2" else "") for lv in PLIES.levels)
    factors = (replace(PLIES, levels=levels), SUSTAINED)
    assert combination_in_words(factors, ("2", "40")) == "plies two plies, sustained 40 %"
    assert combination_in_words(factors, ("1", "40")) == "plies 1, sustained 40 %"


def test_what_never_goes_together_is_told_in_words():
    rule = ForbiddenPlan({"exposure": "laboratory", "sustained": "40"}, "no frame there")
    state = MatrixState(factors=QUAYSIDE.factors, forbidden=(rule,))
    assert state.never_together == [("exposure laboratory and sustained 40 %", "no frame there")]


def test_a_route_gets_numbers_as_numbers():
    assert route_levels((PLIES, EXPOSURE), ("2", "laboratory")) == {
        "plies": 2.0,
        "exposure": "laboratory",
    }


@pytest.mark.parametrize("replicates", [-1, 1000])
def test_refuses_a_number_of_replicates_that_cannot_be(replicates):
    with pytest.raises(RangeError):
        check_replicates(replicates)


def test_a_factorial_fills_the_gaps_of_a_matrix_and_leaves_its_cells_alone():
    first = plan_factorial(MatrixState(factors=(PLIES,)), 3)
    assert first.created == ("P0", "P1", "P2")
    again = plan_factorial(first.after, 5)
    assert again.is_empty
    assert again.unchanged == ("P0", "P1", "P2")
    fewer = MatrixState((PLIES,), cells=first.after.cells[:1])
    filled = plan_factorial(fewer, 5)
    assert filled.created == ("P1", "P2")
    assert [cell.replicates for cell in filled.after.cells] == [3, 5, 5]


@pytest.mark.parametrize("factors", [(), (factor("plies", FactorKind.NUMERIC, []),)])
def test_a_factorial_needs_levels(factors):
    with pytest.raises(ShapeError) as refused:
        plan_factorial(MatrixState(factors=factors), 3)
    assert refused.value.code == "matrix.no-levels"


@settings(deadline=None)
@given(factor_lists())
def test_every_generated_cell_has_a_code_of_its_own(factors):
    change = plan_factorial(MatrixState(factors=factors), 1)
    assert len(set(change.created)) == factorial_size(factors)
