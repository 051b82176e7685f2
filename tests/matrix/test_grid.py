"""The matrix as a grid of two chosen factors."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.matrix.domain.design import CellPlan, ForbiddenPlan, MatrixState
from labmatrix.matrix.domain.grid import make_grid, spanning_factors
from labmatrix.matrix.domain.matrix_plan import plan_factorial
from tests.matrix.plans import EXPOSURE, PLIES, QUAYSIDE, SUSTAINED
from tests.matrix.test_matrix_plan import states

FULL = plan_factorial(QUAYSIDE, 3).after


@pytest.mark.parametrize(
    ("asked", "spans"),
    [
        ({}, ("plies", "exposure")),
        ({"down": "sustained"}, ("sustained", "exposure")),
        ({"across": "plies"}, ("exposure", "plies")),
        ({"down": "exposure", "across": "plies"}, ("exposure", "plies")),
        ({"down": "plies", "across": "plies"}, ("exposure", "plies")),
        ({"down": "nothing", "across": "<b>"}, ("plies", "exposure")),
    ],
)
def test_two_different_factors_span_the_grid(asked, spans):
    down, across = spanning_factors(QUAYSIDE.factors, **asked)
    assert (down.name, across.name) == spans


def test_one_factor_spans_a_column():
    grid = make_grid(plan_factorial(MatrixState((PLIES,)), 2).after)
    assert grid.across is None
    assert [[s.cells[0].plan.code for s in row.squares] for row in grid.rows] == [
        ["P0"],
        ["P1"],
        ["P2"],
    ]


def test_a_square_holds_the_cells_of_the_other_factors():
    square = make_grid(FULL).rows[2].squares[1]
    assert [cell.plan.code for cell in square.cells] == ["P2-WDS-S0", "P2-WDS-S40"]
    assert [cell.others for cell in square.cells] == ["sustained 0 %", "sustained 40 %"]
    assert square.replicates == 6
    assert square.levels == {"plies": "2", "exposure": "wet–dry salt"}


def test_other_factors_narrow_the_grid():
    grid = make_grid(FULL, only={"sustained": "40", "plies": "0"})
    assert (grid.cells, grid.replicates) == (9, 27)


def test_an_empty_square_says_whether_it_is_forbidden():
    rule = ForbiddenPlan({"plies": "2", "exposure": "freeze–thaw"}, "no room in the chamber")
    other = ForbiddenPlan({"plies": "1", "sustained": "40"}, "no frame is free")
    state = plan_factorial(replace(QUAYSIDE, forbidden=(rule, other)), 3).after
    squares = {(r.down.value, s.across.value): s for r in make_grid(state).rows for s in r.squares}
    assert squares["2", "freeze–thaw"].forbidden == "no room in the chamber"
    assert squares["1", "freeze–thaw"].forbidden == ""
    narrowed = make_grid(state, only={"sustained": "40"})
    assert narrowed.rows[1].squares[0].forbidden == "no frame is free"


def test_remarks_stand_with_their_cells():
    state = MatrixState((PLIES, EXPOSURE), cells=(CellPlan("A", ("2", "laboratory"), 3),))
    cell = make_grid(state).rows[2].squares[0].cells[0]
    assert [remark.kind for remark in cell.remarks] == ["gain control"]


@settings(deadline=None)
@given(states(), st.data())
def test_every_cell_stands_in_exactly_one_square(state, data):
    names = [factor.name for factor in (*state.factors, SUSTAINED)]
    grid = make_grid(
        state, down=data.draw(st.sampled_from(names)), across=data.draw(st.sampled_from(names))
    )
    shown = [c.plan.code for row in grid.rows for s in row.squares for c in s.cells]
    assert sorted(shown) == sorted(state.by_code)
    assert grid.replicates == sum(cell.replicates for cell in state.cells)
