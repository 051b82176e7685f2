"""What a matrix file adds to a series, or everything that is wrong with it."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import RuleBroken, ShapeError, UserError
from labmatrix.matrix.domain.controls import with_controls
from labmatrix.matrix.domain.design import (
    CellPlan,
    FactorKind,
    FactorPart,
    ForbiddenPlan,
    MatrixState,
    full_factorial,
    named_levels,
)
from labmatrix.matrix.domain.document import LevelText
from labmatrix.matrix.domain.document_json import document_of_json, state_as_json
from labmatrix.matrix.domain.matrix_file import read_document
from labmatrix.matrix.domain.matrix_plan import MatrixChange, plan_cell, plan_document
from labmatrix.matrix.domain.problems import MatrixRefused
from tests.matrix.files import HEADER, ROWS, csv_file, json_file, xlsx_file
from tests.matrix.plans import EXPOSURE, PLIES, QUAYSIDE, factor, factor_lists

SERIES = MatrixState(factors=(PLIES, EXPOSURE))
WIDTH = factor("width", FactorKind.NUMERIC, ["50.8", "100"], unit="mm", is_open=True)


def plan(content: bytes, state: MatrixState = SERIES, filename: str = "m.csv") -> MatrixChange:
    """What a file adds."""
    return plan_document(state, read_document(filename, content))


def problems(content: bytes, state: MatrixState = SERIES, filename: str = "m.csv"):
    """Row, column and code of everything that is wrong with a file."""
    with pytest.raises(MatrixRefused) as refused:
        plan(content, state, filename)
    assert refused.value.code == "matrix.rows"
    assert all(p.message.endswith(".") for p in refused.value.problems)
    return [(p.row, p.column, p.code) for p in refused.value.problems]


@pytest.mark.parametrize(("filename", "content"), [("m.csv", csv_file()), ("m.xlsx", xlsx_file())])
def test_a_table_becomes_cells_with_controls(filename, content):
    change = plan(content, filename=filename)
    assert change.created == ("U-LAB", "P0-WDS", "P2-LAB", "P2-WDS")
    cells = change.after.by_code
    assert [cells[code].replicates for code in change.created] == [3, 2, 3, 3]
    assert cells["P2-LAB"].gain_control == "U-LAB"
    assert cells["P0-WDS"].conditioning_control == "U-LAB"
    assert (cells["P2-WDS"].gain_control, cells["P2-WDS"].conditioning_control) == (
        "P0-WDS",
        "P2-LAB",
    )
    assert cells["U-LAB"].note == "reference"


def test_the_same_file_again_changes_nothing():
    change = plan(csv_file())
    again = plan(csv_file(), change.after)
    assert again.is_empty
    assert again.created == ()
    assert again.unchanged == change.created


def test_none_written_out_means_no_control():
    change = plan(csv_file([("0", "laboratory", "3"), ("2", "laboratory", "3", "", "none")]))
    assert change.after.by_code["P2-LAB"].gain_control is None
    again = csv_file([("0", "laboratory", "3"), ("2", "laboratory", "3", "", "none")])
    assert plan(again, change.after).is_empty


def test_a_series_without_factors_takes_those_of_the_header():
    change = plan(csv_file([("2", "x", "3"), ("0", "b", "3")]), MatrixState())
    plies, exposure = change.after.factors
    assert (plies.kind, [lv.value for lv in plies.levels]) == (FactorKind.NUMERIC, ["0", "2"])
    assert (exposure.kind, [lv.value for lv in exposure.levels]) == (
        FactorKind.NAMED,
        ["x", "b"],
    )
    assert {plies.part, exposure.part} == {FactorPart.OTHER}
    assert not plies.is_open


def test_the_header_may_carry_a_unit_which_is_converted():
    state = MatrixState(factors=(WIDTH,))
    change = plan(csv_file([("2", "3"), ("4", "1")], ["width [in]", "replicates"]), state)
    assert [cell.levels for cell in change.after.cells] == [("50.8",), ("101.6",)]
    first = plan(csv_file([("2", "3")], ["Width (in)", "replicates"]), MatrixState())
    assert (first.after.factors[0].name, first.after.factors[0].unit) == ("Width", "in")


def test_decimal_commas_are_numbers():
    state = MatrixState(factors=(WIDTH,))
    content = csv_file([("50,8", "3")], ["width", "replicates"], delimiter=";")
    assert plan(content, state).after.cells[0].levels == ("50.8",)


def test_columns_stand_in_any_order_and_case():
    content = csv_file([("3", "LABORATORY", "2")], ["N", "Exposure", "PLIES"])
    assert plan(content).created == ("P2-LAB",)


def test_everything_that_is_wrong_is_told_at_once():
    rows = [
        ("3", "laboratory", "3"),
        ("2", "", "3"),
        ("two", "fog", "three"),
        ("2", "laboratory", "2.5", "p 2"),
        ("1", "laboratory", "-1"),
        ("0", "laboratory", ""),
        ("0", "wet–dry salt", "1000", "", "", "", "a\x07b"),
        ("0", "wet–dry salt", "3", "", "", "", "", "beyond"),
        ("1,000", "laboratory", "3"),
    ]
    assert problems(csv_file(rows)) == [
        (2, "plies", "matrix.level-unknown"),
        (3, "exposure", "matrix.level-missing"),
        (4, "plies", "matrix.number"),
        (4, "exposure", "matrix.level-unknown"),
        (4, "replicates", "matrix.replicates"),
        (5, "replicates", "matrix.replicates"),
        (5, "code", "code.shape"),
        (6, "replicates", "input.out-of-range"),
        (7, "replicates", "matrix.replicates"),
        (8, "replicates", "input.out-of-range"),
        (8, "note", "text.characters"),
        (9, "", "matrix.column-unnamed"),
        (10, "plies", "matrix.number-ambiguous"),
    ]


def test_a_row_that_comes_twice_names_the_first():
    rows = [("2", "laboratory", "3"), ("2.0", "Laboratory", "3")]
    assert problems(csv_file(rows)) == [(3, "", "matrix.row-twice")]


def test_two_cells_never_share_a_code():
    rows = [("2", "laboratory", "3", "A"), ("1", "laboratory", "3", "a")]
    assert problems(csv_file(rows)) == [(3, "code", "matrix.code-twice")]
    state = plan(csv_file()).after
    rows = [("1", "laboratory", "3", "U-LAB")]
    assert problems(csv_file(rows), state) == [(2, "code", "matrix.code-twice")]


def test_controls_must_be_there_and_be_another_cell():
    rows = [
        ("2", "laboratory", "3", "A", "A"),
        ("1", "laboratory", "3", "B", "nobody", "?"),
    ]
    assert problems(csv_file(rows)) == [
        (2, "gain control", "matrix.control-itself"),
        (3, "gain control", "matrix.control-unknown"),
        (3, "conditioning control", "matrix.control-unknown"),
    ]


def test_a_planned_cell_is_never_changed_by_a_file():
    state = plan(csv_file()).after
    rows = [
        ("0", "laboratory", "4", "OTHER", "", "P2-LAB", "another"),
        ("2", "laboratory", "3", "", "none", "", ""),
    ]
    assert problems(csv_file(rows), state) == [
        (2, "replicates", "matrix.cell-differs"),
        (2, "code", "matrix.cell-differs"),
        (2, "conditioning control", "matrix.cell-differs"),
        (2, "note", "matrix.cell-differs"),
        (3, "gain control", "matrix.cell-differs"),
    ]


def test_the_columns_are_the_factors():
    content = csv_file([("2", "x", "3")], ["plies", "mortar", "replicates"])
    assert problems(content) == [
        (1, "mortar", "matrix.factor-unknown"),
        (1, "exposure", "matrix.factor-missing"),
    ]
    assert problems(csv_file([("3",)], ["replicates"]), MatrixState()) == [
        (1, "", "matrix.no-factors")
    ]


def test_a_column_comes_once():
    content = csv_file([("2", "2", "laboratory", "3")], ["plies", "Plies", "exposure", "n"])
    assert (1, "Plies", "matrix.column-twice") in problems(content)


def test_a_unit_of_another_dimension_is_a_problem_of_each_row():
    content = csv_file([("2", "laboratory", "3")], ["plies [mm]", "exposure", "n"])
    assert problems(content) == [(2, "plies", "unit.mismatch")]


def test_only_an_open_factor_takes_new_levels():
    content = csv_file([("4", "laboratory", "3")])
    assert problems(content) == [(2, "plies", "matrix.level-unknown")]
    open_series = MatrixState(factors=(replace(PLIES, is_open=True), EXPOSURE))
    change = plan(content, open_series)
    assert [level.value for level in change.after.factors[0].levels] == ["0", "1", "2", "4"]
    assert change.created == ("P4-LAB",)


def test_a_forbidden_combination_gives_its_reason():
    rule = ForbiddenPlan({"plies": "2", "exposure": "laboratory"}, "done last year")
    state = replace(SERIES, forbidden=(rule,))
    with pytest.raises(MatrixRefused) as refused:
        plan(csv_file([("2", "laboratory", "3")]), state)
    (problem,) = refused.value.problems
    assert problem.message == "plies 2, exposure laboratory is forbidden: done last year."


def test_a_series_holds_so_many_cells_and_no_more():
    rows = [(x, y, 1) for x in range(50) for y in range(41)]
    assert problems(csv_file(rows, ["x", "y", "replicates"]), MatrixState()) == [
        (0, "", "matrix.too-many-cells")
    ]


def test_a_factor_holds_so_many_levels_and_no_more():
    content = csv_file([(x, 1) for x in range(101)], ["x", "replicates"])
    assert problems(content, MatrixState()) == [(102, "x", "matrix.too-many-levels")]


JSON = {
    "factors": [
        {
            "name": "plies",
            "kind": "numeric",
            "part": "strengthening",
            "control": 0,
            "levels": [0, 2],
        },
        {
            "name": "width",
            "kind": "numeric",
            "unit": "mm",
            "part": "member",
            "open": True,
            "levels": [{"value": 1, "unit": "in", "code": "W1", "label": "narrow"}],
        },
    ],
    "forbidden": [{"levels": {"plies": 2, "width": 25.4}, "why": "the fabric is wider"}],
    "cells": [
        {"levels": {"plies": 0, "width": {"value": 2.54, "unit": "cm"}}, "replicates": 3},
        {"levels": {"plies": 0, "width": 100}, "replicates": 3},
        {"levels": {"plies": 2, "width": 100}, "replicates": 2, "note": "twice"},
    ],
}


def test_json_brings_factors_rules_and_cells():
    change = plan(json_file(JSON), MatrixState(), "m.json")
    assert change.created == ("P0-W1", "P0-W100", "P2-W100")
    assert change.after.by_code["P2-W100"].gain_control == "P0-W100"
    assert change.after.factors[1].levels[0].label == "narrow"
    (rule,) = change.after.forbidden
    assert dict(rule.levels) == {"plies": "2", "width": "25.4"}
    again = plan(json_file(JSON), change.after, "m.json")
    assert again.is_empty
    assert again.unchanged == change.created


@pytest.mark.parametrize(
    ("change", "found"),
    [
        ({"cells": [7, {"levels": [], "replicates": 3}]}, [(1, "cells"), (2, "cells")]),
        ({"cells": [{"levels": {"plies": 0, "width": 1e300}}]}, [(1, "cells")]),
        ({"cells": [{"levels": {"plies": 0}, "replicates": 3}]}, [(1, "width")]),
        ({"cells": [{"levels": {"plies": 0, "width": 9, "x": 1}, "replicates": 3}]}, [(1, "x")]),
        ({"forbidden": [{"levels": {"plies": 2}, "why": "no"}]}, [(1, "forbidden")]),
        ({"forbidden": [{"levels": {"plies": 2, "x": 1}, "why": "no"}]}, [(1, "forbidden")]),
        ({"forbidden": [{"levels": {"plies": 2, "width": 7}, "why": "no"}]}, [(1, "forbidden")]),
        ({"forbidden": [{"levels": {"plies": 2, "width": 25.4}}]}, [(1, "forbidden")]),
        ({"factors": [{"name": "code", "kind": "named"}], "cells": []}, [(0, "code")]),
        (
            {"factors": [{"name": "a", "kind": "numeric", "unit": "ells"}], "cells": []},
            [(0, "a")],
        ),
        (
            {"factors": [{"name": "a"}, {"name": "A"}], "forbidden": [], "cells": []},
            [(0, "A")],
        ),
    ],
)
def test_what_json_gets_wrong_is_told_by_row(change, found):
    told = problems(json_file(JSON | change), MatrixState(), "m.json")
    assert [(row, column) for row, column, _ in told] == found


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"kind": "named"}, "matrix.factor-differs"),
        ({"part": "other"}, "matrix.factor-differs"),
        ({"unit": "mm"}, "matrix.factor-differs"),
        ({"name": "mortar"}, "matrix.factor-unknown"),
        ({"levels": [0, 3], "control": None}, "matrix.level-unknown"),
    ],
)
def test_factors_of_a_file_must_be_those_of_the_series(change, code):
    state = plan(json_file(JSON), MatrixState(), "m.json").after
    factors = [JSON["factors"][0] | change, JSON["factors"][1]]
    told = problems(json_file({"factors": factors}), state, "m.json")
    assert told == [(1, factors[0]["name"], code)]


def test_a_rule_cannot_forbid_what_is_planned():
    state = plan(json_file(JSON), MatrixState(), "m.json").after
    rule = {"levels": {"plies": 0, "width": 100}, "why": "too late"}
    assert problems(json_file({"forbidden": [rule]}), state, "m.json") == [
        (1, "forbidden", "matrix.forbidden-in-use")
    ]
    other = JSON["forbidden"][0] | {"why": "another reason"}
    assert problems(json_file({"forbidden": [other]}), state, "m.json") == [
        (1, "forbidden", "matrix.forbidden-differs")
    ]


def test_one_cell_is_planned_like_a_row():
    levels = {"plies": LevelText("2"), "exposure": LevelText("laboratory")}
    change = plan_cell(SERIES, levels, {"replicates": "3"})
    assert change.created == ("P2-LAB",)
    with pytest.raises(RuleBroken) as exists:
        plan_cell(change.after, levels, {"replicates": "3"})
    assert exists.value.code == "cell.exists"
    with pytest.raises(ShapeError) as refused:
        plan_cell(SERIES, levels, {"replicates": "many"})
    assert (refused.value.code, refused.value.facts["column"]) == (
        "matrix.replicates",
        "replicates",
    )


@st.composite
def states(draw) -> MatrixState:
    """A matrix of some of all combinations, with rules, notes, and controls of every kind."""
    factors = draw(factor_lists())
    everything = list(full_factorial(factors))
    chosen = draw(st.lists(st.sampled_from(everything), max_size=12, unique=True))
    cells = tuple(
        CellPlan(
            code=f"C{n}",
            levels=levels,
            replicates=draw(st.integers(0, 9)),
            note=draw(st.sampled_from(["", "from the old viaduct", "two\nlines"])),
        )
        for n, levels in enumerate(chosen)
    )
    state = MatrixState(factors, cells=cells)
    left = [c for c in everything if c not in chosen]
    if len(factors) > 1 and left:
        named = named_levels(factors, draw(st.sampled_from(left)))
        state = replace(state, forbidden=(ForbiddenPlan(named, "not in this programme"),))
    some = draw(st.sets(st.sampled_from([c.code for c in cells]))) if cells else set()
    return with_controls(state, gain=some, conditioning=state.by_code)


@settings(deadline=None)
@given(states())
def test_the_json_form_survives_a_round_trip(state):
    written = json.loads(json.dumps(state_as_json(state)))
    document = document_of_json(written)
    assert plan_document(MatrixState(), document).after == state
    assert plan_document(state, document).is_empty


def _taken(content: bytes) -> tuple[MatrixChange | None, str]:
    try:
        return plan(content, MatrixState()), ""
    except UserError as refused:
        return None, refused.message


_TEXT = st.text(max_size=12) | st.sampled_from(["0", "2", "laboratory", "none", "U-LAB", "3"])


@settings(deadline=None)
@given(st.lists(st.lists(_TEXT, max_size=8), max_size=6))
def test_any_table_is_taken_once_or_refused_with_sentences(rows):
    content = csv_file(rows).replace(b"\x00", b"")
    change, refusal = _taken(content)
    if change is None:
        assert refusal.endswith(".")
    else:
        assert plan(content, change.after).is_empty


@settings(deadline=None)
@given(st.data())
def test_a_file_gives_the_same_cells_in_whatever_order_its_rows_come(data):
    rows = data.draw(st.permutations(list(ROWS)))
    change = plan(csv_file(rows))
    assert {c.code: c for c in change.after.cells} == {
        c.code: c for c in plan(csv_file(ROWS)).after.cells
    }
    assert set(HEADER) >= {"plies", "exposure"}


def test_the_matrix_of_three_factors_fits_its_series():
    rows = [("2", "freeze-thaw", "40", "3")]
    content = csv_file(rows, ["plies", "exposure", "sustained [%]", "replicates"])
    assert plan(content, QUAYSIDE).created == ("P2-FT-S40",)
