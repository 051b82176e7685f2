"""Codes of levels, cells and specimens."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.code import (
    DEFAULT_TEMPLATE,
    LEVEL_CODE_MAX,
    cell_code,
    check_code,
    check_template,
    distinct_code,
    named_level_code,
    numeric_level_code,
    specimen_code,
)


@pytest.mark.parametrize("code", ["QV-B", "A", "9", "P2-WDS-S40"])
def test_takes_a_code(code):
    assert check_code(code, argument="The code", at_most=20) == code


@pytest.mark.parametrize("code", ["", "qv", "A--B", "-A", "A-", "A B", "Ä", "A\n", "A" * 21])
def test_refuses_what_is_no_code(code):
    with pytest.raises(ShapeError) as refused:
        check_code(code, argument="The code", at_most=20)
    assert refused.value.code == "code.shape"


@pytest.mark.parametrize(
    ("factor", "value", "code"),
    [
        ("plies", "2", "P2"),
        ("sustained", "0.4", "S0P4"),
        ("temperature", "-20", "TM20"),
        ("Δ", "5", "X5"),
    ],
)
def test_a_number_becomes_a_short_code(factor, value, code):
    assert numeric_level_code(factor, value) == code


@pytest.mark.parametrize(
    ("value", "code"),
    [
        ("laboratory", "LAB"),
        ("wet–dry salt", "WDS"),
        ("freeze–thaw", "FT"),
        ("U-wrap", "UW"),
        ("été", "ETE"),
        ("—", "L"),
    ],
)
def test_a_name_becomes_a_short_code(value, code):
    assert named_level_code(value) == code


@settings(deadline=None)
@given(st.text(max_size=40), st.sets(st.sampled_from(["LAB", "LAB2", "LAB3", "L"]), max_size=4))
def test_every_name_gets_a_code_of_its_own(value, taken):
    code = distinct_code(named_level_code(value), taken)
    assert code not in taken
    assert re.fullmatch(r"[A-Z0-9]+", code)
    assert len(code) <= LEVEL_CODE_MAX


@settings(deadline=None)
@given(st.lists(st.from_regex(r"\A[A-Z0-9]{1,5}\Z"), min_size=1, max_size=5))
def test_a_cell_code_can_be_taken_apart(codes):
    assert cell_code(codes).split("-") == codes


def test_refuses_a_cell_code_that_no_label_holds():
    with pytest.raises(ShapeError):
        cell_code(["ABCDEFGHIJKL"] * 3)


def test_the_code_of_a_specimen_counts_within_its_cell():
    code = specimen_code(DEFAULT_TEMPLATE, series="QV-B", cell="P2-FT", number=3)
    assert code == "QV-B-P2-FT-03"


@pytest.mark.parametrize(
    "template", ["{series}-{cell}-{n}", "{cell}-{n:03d}", "QV-{series}-{cell}-{n:02d}"]
)
def test_takes_a_template(template):
    assert check_template(template) == template


@pytest.mark.parametrize(
    "template",
    [
        "",
        "{series}-{n}",
        "{series}-{cell}",
        "{series}-{cell}-{n",
        "{cell}-{n}-{person}",
        "{cell}-{n.__class__}",
        "{cell!r}-{n}",
        "{cell:>50}-{n}",
        "{cell}-{n:09999999d}",
        "{cell}_{n}",
        "{}-{cell}-{n}",
    ],
)
def test_refuses_a_template_that_would_not_give_codes(template):
    with pytest.raises(ShapeError) as refused:
        check_template(template)
    assert refused.value.code == "code.template"
