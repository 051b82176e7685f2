"""The sentences that a person gets for wrong input."""

from __future__ import annotations

import math

import pytest

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.ranges import Fields, number


def test_number_names_argument_value_and_range() -> None:
    with pytest.raises(RangeError) as caught:
        number("span_mm", -3.0, low=100.0, high=30_000.0, unit="mm")
    assert caught.value.message == "span_mm is -3.0; allowed is from 100 to 30000 mm."
    assert caught.value.facts == {
        "argument": "span_mm",
        "value": -3.0,
        "allowed": "from 100 to 30000 mm",
    }


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_number_refuses_what_is_not_finite(value: float) -> None:
    with pytest.raises(RangeError, match="any finite number"):
        number("load_kn", value)


@pytest.mark.parametrize("value", ["12", None, True, [1.0]])
def test_number_refuses_what_is_not_a_number(value: object) -> None:
    with pytest.raises(ShapeError, match="allowed is a number up to 5"):
        number("load_kn", value, high=5.0)


def test_open_and_closed_ends() -> None:
    assert number("x", 0.0, low=0.0) == 0.0
    with pytest.raises(RangeError, match="above 0"):
        number("x", 0.0, low=0.0, above=True)
    with pytest.raises(RangeError, match="at least 0"):
        number("x", -1.0, low=0.0)


def test_fields_read_defaults_and_parts() -> None:
    fields = Fields.of({"a": 1, "b": None, "part": {"c": "x"}, "list": [{"d": 2}]}, "member")
    assert fields.number("a") == 1.0
    assert fields.number("b", 7.0) == 7.0
    assert fields.maybe_number("missing") is None
    part = fields.wanted_part("part")
    assert part.choice("c", ("x", "y")) == "x"
    assert fields.parts("list")[0].count("d", low=1, high=3) == 2
    assert fields.flag("on", True) is True
    assert fields.text("note") == ""
    fields.finish()


@pytest.mark.parametrize(
    ("source", "read", "sentence"),
    [
        ({}, lambda f: f.number("a", low=0.0, high=2.0), "m.a is missing; wanted is a number from"),
        ({}, lambda f: f.choice("a", ("x",)), "m.a is missing; wanted is one of x"),
        ({}, lambda f: f.wanted_part("a"), "m.a is missing; wanted is an object"),
        ({"a": "z"}, lambda f: f.choice("a", ("x", "y")), "m.a is 'z'; allowed is one of x, y"),
        ({"a": 1.5}, lambda f: f.count("a", low=1, high=9), "m.a is 1.5; allowed is a whole"),
        ({"a": 1}, lambda f: f.flag("a", False), "m.a is 1; allowed is true or false"),
        ({"a": 1}, lambda f: f.text("a"), "m.a is 1; allowed is text"),
        ({"a": 1}, lambda f: f.parts("a"), "m.a is 1; allowed is a list"),
        ({"a": 1}, lambda f: f.part("a"), "m.a is 1; allowed is an object"),
        ({"a": 1}, lambda f: f.finish(), "m.a is not known; known are"),
    ],
)
def test_fields_refuse_with_a_sentence(source: dict, read: object, sentence: str) -> None:  # type: ignore[type-arg]
    assert callable(read)
    with pytest.raises(ShapeError) as caught:
        read(Fields.of(source, "m"))
    assert sentence in caught.value.message


def test_payload_that_is_no_object() -> None:
    with pytest.raises(ShapeError, match="the payload is 3; allowed is an object"):
        Fields.of(3, "")
