"""A channel map says what each column measures, and refuses in sentences what cannot be."""

from __future__ import annotations

from typing import Any

import pytest
from pydantic import ValidationError

from labmatrix.evidence.domain.channel_map import ChannelEntry, ChannelMap, base_unit
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import ShapeError

LOAD: dict[str, Any] = {"column": "Load", "quantity": "load", "unit": "kN"}
DEFLECTION: dict[str, Any] = {"column": "Defl", "quantity": "deflection", "unit": "mm"}


def problem(*entries: object) -> str:
    with pytest.raises(ShapeError) as caught:
        ChannelMap.from_data(list(entries))
    assert caught.value.code == "channels.malformed"
    return caught.value.message


def test_takes_the_shape_that_the_api_sends() -> None:
    entry = {
        **DEFLECTION,
        "sign": -1,
        "scale": 1.02,
        "zero": {"first": 10},
        "place": "mid-span",
        "sensor": "LV-0417",
        "file": "frame.csv",
    }
    (read,) = ChannelMap.from_data({"entries": [entry]}).entries
    assert (read.sign, read.scale, read.place, read.sensor) == (-1, 1.02, "mid-span", "LV-0417")
    assert read.base == "mm"


def test_a_map_of_nothing_says_so_and_wrong_entries_alone_are_told_of() -> None:
    assert (
        problem() == "The channel map cannot be used: it maps no column; allowed is at least one."
    )
    assert "maps no column" not in problem({**LOAD, "unit": "furlong"})


def test_is_frozen() -> None:
    entry = ChannelEntry(**LOAD)
    with pytest.raises(ValidationError):
        entry.sign = -1  # type: ignore[misc]


@pytest.mark.parametrize(
    ("quantity", "unit"),
    [
        ("time", "s"),
        ("load", "kN"),
        ("deflection", "mm"),
        ("settlement", "mm"),
        ("slip", "mm"),
        ("strain", "mm/mm"),
        ("crack-width", "mm"),
        ("temperature", "°C"),
        ("humidity", "% RH"),
        ("count", "1"),
    ],
)
def test_every_quantity_has_its_base_unit(quantity: str, unit: str) -> None:
    assert base_unit(quantity) == unit
    assert ChannelEntry(column="a", quantity=quantity, unit=unit).base == unit


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"quantity": "weight"}, "'weight' is not a quantity"),
        ({"unit": "mm"}, "mm measures length; load is a force and allows kN, N"),
        ({"unit": "furlong"}, "'furlong' is not known"),
        ({"sign": 2}, "entry 1, sign"),
        ({"scale": 0}, "scale is 0"),
        ({"scale": -1}, "allowed is a number above 0"),
        ({"scale": float("nan")}, "scale is nan"),
        ({"zero": "last"}, "'last' is no zero"),
        ({"zero": {"first": 0}}, "zero"),
        ({"zero": float("inf")}, "zero is not finite"),
        ({"column": " "}, "entry 1, column"),
        ({"gauge_factor": 2.1}, "gauge_factor belongs to strain"),
        ({"colour": "red"}, "colour is not known"),
    ],
)
def test_refuses_an_entry_with_a_sentence(change: dict[str, Any], words: str) -> None:
    assert words in problem({**LOAD, **change})


def test_names_a_missing_part() -> None:
    assert "entry 2, unit: unit is missing" in problem(LOAD, {"column": "b", "quantity": "slip"})


@pytest.mark.parametrize("data", [[], None, 7, "load", {"channels": []}])
def test_refuses_what_is_no_map(data: object) -> None:
    with pytest.raises(ShapeError):
        ChannelMap.from_data(data)


@pytest.mark.parametrize("quantity", ["temperature", "humidity"])
def test_refuses_to_zero_what_has_a_fixed_zero(quantity: str) -> None:
    entry = {"column": "a", "quantity": quantity, "unit": base_unit(quantity), "zero": "first"}
    assert "fixed zero" in problem(entry)


def test_refuses_one_column_mapped_twice() -> None:
    assert "mapped 2 times" in problem(LOAD, {**LOAD, "place": "north"})


def test_refuses_two_columns_for_one_role() -> None:
    assert "2 columns are load without a place" in problem(LOAD, {**LOAD, "column": "Load 2"})


def test_the_key_does_not_know_order_or_spelling() -> None:
    one = ChannelMap.from_data([{**LOAD, "zero": "first"}, DEFLECTION])
    other = ChannelMap.from_data([DEFLECTION, {**LOAD, "unit": "kn", "zero": {"first": 1}}])
    assert content_key(one.canonical()) == content_key(other.canonical())


@pytest.mark.parametrize(
    "change",
    [{"sign": -1}, {"scale": 2}, {"zero": 1}, {"place": "N"}, {"sensor": "7"}, {"unit": "N"}],
)
def test_every_setting_changes_the_key(change: dict[str, Any]) -> None:
    changed = ChannelMap.from_data([{**LOAD, **change}]).canonical()
    assert content_key(changed) != content_key(ChannelMap.from_data([LOAD]).canonical())


def test_comes_back_from_its_canonical_form() -> None:
    made = ChannelMap.from_data([DEFLECTION, {**LOAD, "zero": "first"}])
    assert ChannelMap.from_data(made.canonical()) == made
