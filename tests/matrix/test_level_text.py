"""From texts to levels."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.design import FactorKind
from labmatrix.matrix.domain.document import DeclaredLevel, FactorColumn
from labmatrix.matrix.domain.factor_plan import (
    add_level,
    factor_of_column,
    make_factor,
    with_control,
)
from labmatrix.matrix.domain.level_text import find_level, folded, number_text, parse_number
from tests.matrix.plans import EXPOSURE, PLIES, factor

THICKNESS = factor("thickness", FactorKind.NUMERIC, ["10", "25.4"], unit="mm")


@pytest.mark.parametrize(
    ("text", "number"),
    [("2", 2.0), (" 0,4 ", 0.4), ("0.40", 0.4), ("−20", -20.0), ("1e3", 1000.0), ("two", None)],
)
def test_reads_a_decimal_dot_or_comma(text, number):
    assert parse_number(text) == number


@pytest.mark.parametrize("text", ["1,000", "12,500", "1,000,000"])
def test_refuses_a_comma_that_may_be_a_thousand(text):
    with pytest.raises(ShapeError) as refused:
        parse_number(text)
    assert refused.value.code == "matrix.number-ambiguous"


@settings(deadline=None)
@given(st.floats(-1e9, 1e9, allow_nan=False).map(lambda x: float(f"{x:.9g}")))
def test_the_text_of_a_number_gives_the_number(number):
    assert float(number_text(number)) == number


def test_no_number_is_minus_nothing():
    assert number_text(-0.0) == "0"


@pytest.mark.parametrize("text", ["1", "1 in", "2,54"])
def test_a_unit_in_the_heading_is_converted(text):
    if text == "1":
        assert find_level(THICKNESS, text, written_in="in").value == "25.4"
    elif text == "2,54":
        assert find_level(THICKNESS, text, written_in="cm").value == "25.4"
    else:
        with pytest.raises(ShapeError) as refused:
            find_level(THICKNESS, text)
        assert refused.value.code == "matrix.number"


@pytest.mark.parametrize(("unit", "code"), [("kN", "unit.mismatch"), ("ells", "unit.unknown")])
def test_refuses_a_unit_of_something_else(unit, code):
    with pytest.raises(ShapeError) as refused:
        find_level(THICKNESS, "1", written_in=unit)
    assert refused.value.code == code


def test_names_take_no_unit():
    with pytest.raises(ShapeError) as refused:
        find_level(EXPOSURE, "laboratory", written_in="mm")
    assert refused.value.code == "unit.mismatch"


@pytest.mark.parametrize("text", ["wet-dry salt", "WET–DRY  SALT", " wet—dry salt"])
def test_case_dashes_and_blanks_make_no_difference(text):
    assert find_level(EXPOSURE, text).value == "wet–dry salt"


def test_an_empty_level_is_missing():
    for one in (PLIES, EXPOSURE):
        with pytest.raises(ShapeError) as refused:
            find_level(one, "  ")
        assert refused.value.code == "matrix.level-missing"


@pytest.mark.parametrize("text", ["a\x00b", "\ud800", "\u202egnorts", "x" * 61])
def test_refuses_a_name_that_cannot_be_stored_or_misleads(text):
    with pytest.raises(ShapeError):
        add_level(EXPOSURE, DeclaredLevel(text))


def test_numbers_ascend_whenever_they_came():
    grown = add_level(PLIES, DeclaredLevel("0.5"))
    assert [level.value for level in grown.levels] == ["0", "0.5", "1", "2"]
    assert grown.levels[1].code == "P0P5"


def test_a_level_comes_once():
    with pytest.raises(ShapeError) as refused:
        add_level(PLIES, DeclaredLevel("2.0"))
    assert refused.value.code == "matrix.level-twice"
    with pytest.raises(ShapeError) as refused:
        add_level(PLIES, DeclaredLevel("4", code="P2"))
    assert refused.value.code == "matrix.level-code-twice"


def test_two_names_with_the_same_initials_get_different_codes():
    grown = add_level(EXPOSURE, DeclaredLevel("wet dry sea"))
    assert [level.code for level in grown.levels] == ["LAB", "WDS", "FT", "WDS2"]


@pytest.mark.parametrize("name", ["", "replicates", "Gain_Control", "n", "plies [mm]", "a|b"])
def test_refuses_a_factor_name_that_a_file_could_not_head(name):
    with pytest.raises(ShapeError):
        make_factor(name=name, kind=FactorKind.NAMED)


def test_a_bare_number_has_no_unit():
    assert make_factor(name="plies", kind=FactorKind.NUMERIC, unit="plies").unit == ""


def test_refuses_a_unit_that_is_not_known():
    with pytest.raises(ShapeError) as refused:
        make_factor(name="width", kind=FactorKind.NUMERIC, unit="ells")
    assert refused.value.code == "unit.unknown"


def test_one_level_at_most_means_none():
    changed = with_control(PLIES, "1")
    assert [level.value for level in changed.levels if level.is_control] == ["1"]
    assert with_control(changed, None).control is None
    with pytest.raises(ShapeError) as refused:
        with_control(PLIES, "7")
    assert refused.value.code == "matrix.level-unknown"


@pytest.mark.parametrize(
    ("column", "texts", "kind"),
    [
        (FactorColumn("plies"), ["0", "2", ""], FactorKind.NUMERIC),
        (FactorColumn("plies"), ["0", "two"], FactorKind.NAMED),
        (FactorColumn("width", "mm"), ["broad"], FactorKind.NUMERIC),
        (FactorColumn("plies"), ["1,000"], FactorKind.NUMERIC),
        (FactorColumn("plies"), [], FactorKind.NAMED),
    ],
)
def test_a_column_tells_its_kind(column, texts, kind):
    assert factor_of_column(column, texts).kind is kind


@settings(deadline=None)
@given(st.text(max_size=30))
def test_folding_twice_changes_nothing(text):
    assert folded(folded(text)) == folded(text)
