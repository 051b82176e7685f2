"""Which cell is whose control, and which twin is missing."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings

from labmatrix.matrix.domain.controls import (
    CONDITIONING,
    GAIN,
    find_control,
    is_subject,
    remarks,
    twin_of,
    with_controls,
)
from labmatrix.matrix.domain.design import (
    CellPlan,
    FactorKind,
    FactorPart,
    ForbiddenPlan,
    MatrixState,
)
from labmatrix.matrix.domain.matrix_plan import plan_factorial
from tests.matrix.plans import EXPOSURE, PLIES, QUAYSIDE, factor, factor_lists

FULL = plan_factorial(QUAYSIDE, 3).after
MORTAR = factor("mortar", FactorKind.NAMED, ["fine", "coarse"], part=FactorPart.STRENGTHENING)


def matrix(*rows, factors=(PLIES, EXPOSURE), **more) -> MatrixState:
    """Cells A, B, … of three specimens each with these levels."""
    cells = tuple(CellPlan("ABCDEFG"[n], levels, 3) for n, levels in enumerate(rows))
    return MatrixState(tuple(factors), cells=cells, **more)


def test_the_gain_control_has_the_same_exposure():
    cell = FULL.by_levels["2", "freeze–thaw", "40"]
    assert FULL.by_code[cell.gain_control].levels == ("0", "freeze–thaw", "40")


def test_the_conditioning_control_has_the_same_strengthening():
    cell = FULL.by_levels["2", "freeze–thaw", "40"]
    assert FULL.by_code[cell.conditioning_control].levels == ("2", "laboratory", "0")


@pytest.mark.parametrize(
    ("levels", "gain", "conditioning"),
    [
        (("0", "laboratory", "0"), False, False),
        (("2", "laboratory", "0"), True, False),
        (("0", "wet–dry salt", "0"), False, True),
        (("0", "laboratory", "40"), False, True),
        (("2", "wet–dry salt", "0"), True, True),
    ],
)
def test_only_what_differs_from_none_needs_a_control(levels, gain, conditioning):
    cell = FULL.by_levels[levels]
    assert (cell.gain_control is not None) is gain
    assert (cell.conditioning_control is not None) is conditioning


def test_a_full_matrix_leaves_nothing_to_remark():
    assert remarks(FULL) == ()


def test_a_missing_exposed_unstrengthened_twin_is_pointed_out_in_words():
    state = matrix(("0", "laboratory"), ("2", "laboratory"), ("2", "wet–dry salt"))
    state = with_controls(state, gain=state.by_code, conditioning=state.by_code)
    (remark,) = remarks(state)
    assert (remark.cell, remark.kind) == ("C", "gain control")
    assert "plies 0, exposure wet–dry salt is not in the matrix" in remark.words
    assert "fabric's contribution cannot be given" in remark.words


def test_a_missing_unconditioned_twin_is_pointed_out_too():
    state = matrix(("0", "wet–dry salt"), ("2", "wet–dry salt"))
    assert [r.cell for r in remarks(state) if r.kind == "conditioning control"] == ["A", "B"]


def test_a_forbidden_twin_says_why():
    rule = ForbiddenPlan({"plies": "0", "exposure": "wet–dry salt"}, "no room in the tank")
    (remark,) = [
        r
        for r in remarks(matrix(("2", "laboratory"), ("2", "wet–dry salt"), forbidden=(rule,)))
        if r.cell == "B" and r.kind == "gain control"
    ]
    assert remark.words.endswith("That combination is forbidden: no room in the tank.")


def test_an_unnamed_control_that_exists_is_pointed_out():
    (remark,) = remarks(matrix(("0", "laboratory"), ("1", "laboratory")))
    assert remark.words == "B names no gain control, though A would be one."


def test_a_control_that_is_given_up_counts_as_none():
    state = with_controls(
        matrix(("0", "laboratory"), ("1", "laboratory")), gain={"B"}, conditioning=set()
    )
    given_up = replace(state, cells=(replace(state.cells[0], replicates=0), state.cells[1]))
    (remark,) = remarks(given_up)
    assert "for which no specimens are planned" in remark.words


def test_a_cell_that_is_given_up_needs_no_control():
    state = matrix(("2", "wet–dry salt"))
    assert len(remarks(state)) == 2
    assert remarks(replace(state, cells=(replace(state.cells[0], replicates=0),))) == ()


def test_a_control_under_other_conditions_is_pointed_out():
    state = matrix(("0", "laboratory"), ("2", "laboratory"), ("2", "wet–dry salt"))
    cells = (*state.cells[:2], replace(state.cells[2], gain_control="A"))
    words = [r.words for r in remarks(replace(state, cells=cells)) if r.cell == "C"]
    assert "C names A as gain control, which differs from it also in exposure." in words


def test_a_strengthening_without_a_none_does_not_hide_the_unstrengthened_member():
    state = matrix(
        ("0", "laboratory", "fine"),
        ("2", "laboratory", "coarse"),
        factors=(PLIES, EXPOSURE, MORTAR),
    )
    found = find_control(GAIN, ("2", "laboratory", "coarse"), state)
    assert found is not None
    assert found.code == "A"
    assert find_control(CONDITIONING, ("2", "wet–dry salt", "fine"), state) is None


def test_a_named_control_is_kept():
    state = matrix(("0", "laboratory"), ("0", "wet–dry salt"), ("1", "wet–dry salt"))
    named = replace(state, cells=(*state.cells[:2], replace(state.cells[2], gain_control="A")))
    filled = with_controls(named, gain=named.by_code, conditioning=named.by_code)
    assert filled.by_code["C"].gain_control == "A"
    assert filled.by_code["B"].conditioning_control == "A"


@settings(deadline=None)
@given(factor_lists())
def test_controls_of_a_full_matrix_are_their_own_controls(factors):
    state = plan_factorial(MatrixState(factors=factors), 1).after
    for kind in (GAIN, CONDITIONING):
        for cell in state.cells:
            control = find_control(kind, cell.levels, state)
            if not is_subject(kind, cell.levels, factors):
                assert control is None
                continue
            assert control is not None
            assert control.levels == twin_of(kind, cell.levels, factors)
            assert not is_subject(kind, control.levels, factors)
            assert control.code != cell.code
