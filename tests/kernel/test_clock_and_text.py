"""Instants and text at the edges."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from labmatrix.kernel.clock import iso, now, parse_instant
from labmatrix.kernel.errors import RangeError, ShapeError, UserError, row_errors_as_facts
from labmatrix.kernel.text import check_storable


@given(st.datetimes(timezones=st.just(UTC)))
def test_an_instant_written_and_read_is_the_same(at):
    assert parse_instant(iso(at)) == at


@given(st.lists(st.datetimes(timezones=st.just(UTC)), min_size=2, max_size=5))
def test_the_order_of_texts_is_the_order_of_time(instants):
    assert sorted(instants) == [parse_instant(t) for t in sorted(map(iso, instants))]


@pytest.mark.parametrize(
    "text",
    ["2026-03-01T08:30:00", "yesterday", "", "2026-13-01T00:00:00Z", "0001-01-01T00:00+23:00"],
)
def test_what_is_no_instant_is_refused(text):
    with pytest.raises(ShapeError) as refused:
        parse_instant(text)
    assert refused.value.code == "input.instant"


def test_a_wall_clock_cannot_be_written_as_an_instant():
    with pytest.raises(ValueError, match="time zone"):
        iso(datetime(2026, 1, 1))
    assert now().tzinfo is UTC


@pytest.mark.parametrize("value", ["a\x00b", {"k": ["x", "\ud800"]}, {"\x00": 1}])
def test_characters_that_no_database_holds_are_refused(value):
    with pytest.raises(ShapeError) as refused:
        check_storable(value, argument="note")
    assert refused.value.code == "input.text"


def test_errors_have_one_shape():
    error = RangeError("span_mm", -3, "above 0 mm")
    assert error.as_dict() == {
        "code": "input.out-of-range",
        "message": "span_mm is -3; allowed is above 0 mm.",
        "facts": {"argument": "span_mm", "value": -3, "allowed": "above 0 mm"},
    }
    rows = row_errors_as_facts({5: [UserError("a.b", "B.")], 2: [error]})
    assert [row["row"] for row in rows] == [2, 5]
