"""Texts that people write, and planned data in words."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.series_plan import check_member, check_responses
from labmatrix.matrix.domain.wording import (
    as_sentence,
    check_text,
    named_value_in_words,
    value_in_words,
)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("  ", "text.empty"),
        ("x" * 11, "text.long"),
        ("a\x00b", "text.characters"),
        ("a\nb", "text.characters"),
        ("\ud800", "text.characters"),
        ("a\u202eb", "text.characters"),
    ],
)
def test_refuses_a_text_that_cannot_be(text, code):
    with pytest.raises(ShapeError) as refused:
        check_text(text, argument="The title", at_most=10)
    assert refused.value.code == code
    assert refused.value.message.startswith("The title ")


def test_lines_are_allowed_where_they_are_asked_for():
    assert check_text("a\r\nb ", argument="The note", at_most=10, lines=True) == "a\nb"
    assert check_text(" ", argument="The note", at_most=10, may_be_empty=True) == ""


@settings(deadline=None)
@given(st.text(max_size=40))
def test_a_checked_text_passes_again_and_can_be_stored(text):
    try:
        checked = check_text(text, argument="The note", at_most=30, lines=True)
    except ShapeError:
        return
    assert check_text(checked, argument="The note", at_most=30, lines=True) == checked
    assert "\x00" not in checked
    assert checked.encode().decode() == checked


@pytest.mark.parametrize(
    ("text", "sentence"), [("no room", "no room."), ("why?", "why?"), ("done.", "done.")]
)
def test_a_sentence_has_one_end(text, sentence):
    assert as_sentence(text) == sentence


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("width_mm", 200, ("width", "200 mm")),
        ("days", 28.0, ("", "28 days")),
        ("concrete_strength_mpa", 30.5, ("concrete strength", "30.5 MPa")),
        ("depths_mm", [40, 260], ("depths", "40, 260 mm")),
        ("regime", "wet–dry salt", ("regime", "wet–dry salt")),
        ("made_by_mm", "hand", ("made by mm", "hand")),
        ("optional", True, ("optional", "yes")),
    ],
)
def test_a_name_with_its_unit_is_told_in_words(name, value, words):
    assert named_value_in_words(name, value) == words


def test_structures_stand_on_one_line():
    bars = [{"diameter_mm": 12, "count": 3}, {"diameter_mm": 8, "count": None}]
    assert value_in_words(bars) == "count 3, diameter 12 mm; count none, diameter 8 mm"
    assert value_in_words(None) == value_in_words({}) == "none"
    assert len(value_in_words("x" * 500)) <= 240


def test_a_member_is_kept_as_it_is_written():
    member = {"width_mm": 200, "bars": [{"diameter_mm": 12, "count": 3}], "steel": "ribbed"}
    assert check_member(member) == member


@pytest.mark.parametrize(
    "member", [{"Width": 1}, {"a": float("inf")}, {"a": {"b c": 1}}, {"a": "\x00"}, [1], {"": 1}]
)
def test_refuses_a_member_that_cannot_be(member):
    with pytest.raises(ShapeError):
        check_member(member)


def test_a_member_nests_so_deep_and_no_deeper():
    deep: object = 1
    for _ in range(8):
        deep = {"a": deep}
    with pytest.raises(ShapeError):
        check_member(deep)
    lists: object = 1
    for _ in range(8):
        lists = [lists]
    with pytest.raises(ShapeError):
        check_member({"a": lists})


def test_responses_are_names_once():
    assert check_responses(("peak_load", "gain")) == ["peak_load", "gain"]
