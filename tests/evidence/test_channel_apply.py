"""A map applied to tables: value_base = sign · scale · (convert(raw) − zero_base)."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.evidence.domain.channels import Channels, ZeroFinder, apply_map, bind_map
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.table import RawTable, TableHead
from labmatrix.kernel.errors import ShapeError
from tests.evidence.reading_samples import read

FRAME = "Time;Load ;Defl\ns;kN;mm\n0;4;1,5\n1;6;2,5\n2;OVER;3,5\n"
STRAIN = "Clock;SG1;Load\n10:00:00;120,5;4\n10:00:01;-40,5;6\n"


def mapped(*entries: dict[str, Any], **tables: str) -> Channels:
    files = {f"{name}.csv": read(text) for name, text in (tables or {"frame": FRAME}).items()}
    return apply_map(files, ChannelMap.from_data(list(entries)))


def refusal(*entries: dict[str, Any], **tables: str) -> ShapeError:
    with pytest.raises(ShapeError) as caught:
        mapped(*entries, **tables)
    return caught.value


def entry(column: str, quantity: str, unit: str, **more: Any) -> dict[str, Any]:
    return {"column": column, "quantity": quantity, "unit": unit, **more}


def test_gives_the_column_in_the_base_unit_with_its_origin() -> None:
    channel = mapped(entry("Load", "load", "N", sensor="LC-12", place="jack")).one("load")
    np.testing.assert_array_equal(channel.values, [0.004, 0.006, np.nan])
    assert (channel.unit, channel.sensor, channel.place) == ("kN", "LC-12", "jack")
    assert (channel.column, channel.file) == ("Load ", "frame.csv")


@pytest.mark.parametrize(
    ("more", "expected"),
    [
        ({}, [1.5, 2.5, 3.5]),
        ({"sign": -1}, [-1.5, -2.5, -3.5]),
        ({"zero": "first"}, [0.0, 1.0, 2.0]),
        ({"zero": {"first": 2}}, [-0.5, 0.5, 1.5]),
        ({"zero": 0.5}, [1.0, 2.0, 3.0]),
        ({"scale": 2.0, "zero": "first", "sign": -1}, [0.0, -2.0, -4.0]),
    ],
)
def test_follows_the_definition(more: dict[str, Any], expected: list[float]) -> None:
    channel = mapped(entry("Defl", "deflection", "mm", **more)).one("deflection")
    assert channel.values.tolist() == expected


def test_a_constant_zero_is_in_the_unit_of_the_column() -> None:
    channel = mapped(entry("Defl", "deflection", "cm", zero=0.5)).one("deflection")
    np.testing.assert_allclose(channel.values, [10.0, 20.0, 30.0], rtol=1e-15)
    assert channel.zero == 5.0


def test_the_first_numbers_are_those_that_are_there() -> None:
    text = "Load;Defl\nOVER;1\n4;2\n6;3\n"
    channel = mapped(entry("Load", "load", "kN", zero={"first": 2}), frame=text).one("load")
    assert channel.zero == 5.0


def test_refuses_a_zero_of_a_column_without_numbers() -> None:
    text = "Load;Defl\n;1\n;2\n;3\n"
    error = refusal(entry("Load", "load", "kN", zero="first"), frame=text)
    assert error.code == "channels.zero-missing"


def test_temperatures_in_fahrenheit_keep_their_offset() -> None:
    text = "T;RH\n50;40\n212;41\n"
    channel = mapped(entry("T", "temperature", "°F"), frame=text).one("temperature")
    np.testing.assert_allclose(channel.values, [10.0, 100.0], atol=1e-12)


def test_a_missing_column_names_what_is_there_and_what_is_closest() -> None:
    error = refusal(entry("defL", "deflection", "mm"))
    assert error.code == "channels.column-missing"
    assert "'Time', 'Load', 'Defl'" in error.message
    assert error.facts["closest"] == "Defl"


def test_a_missing_file_names_what_is_there() -> None:
    error = refusal(entry("Defl", "deflection", "mm", file="strain.csv"))
    assert error.code == "channels.file-missing"
    assert "frame.csv" in error.message


def test_a_column_of_two_files_needs_its_file() -> None:
    error = refusal(entry("Load", "load", "kN"), frame=FRAME, strain=STRAIN)
    assert error.code == "channels.file-needed"
    channels = mapped(
        entry("Load", "load", "kN", file="frame.csv"),
        entry("SG1", "strain", "µm/m"),
        entry("Clock", "time", "s"),
        frame=FRAME,
        strain=STRAIN,
    )
    assert channels.one("load").file == "frame.csv"
    assert channels.time_of(channels.one("load")) is None
    strain_time = channels.time_of(channels.one("strain"))
    assert strain_time is not None
    assert strain_time.tolist() == [36000.0, 36001.0]


def test_refuses_one_column_under_two_spellings() -> None:
    error = refusal(
        entry("Load", "load", "kN"),
        entry("Load", "load", "kN", file="frame.csv", place="again"),
    )
    assert error.code == "channels.mapped-twice"


@pytest.mark.parametrize(("quantity", "unit"), [("time", "min"), ("count", "1")])
def test_written_time_is_time_in_seconds(quantity: str, unit: str) -> None:
    error = refusal(entry("Clock", quantity, unit), strain=STRAIN)
    assert error.code == "channels.written-time"


def test_one_asks_for_the_place_when_there_are_several() -> None:
    text = "a;b;c\n1;2;3\n"
    channels = mapped(
        entry("a", "settlement", "mm", place="left"),
        entry("b", "settlement", "mm", place="right"),
        frame=text,
    )
    assert channels.one("settlement", "right").values.tolist() == [2.0]
    assert [c.place for c in channels.all("settlement")] == ["left", "right"]
    with pytest.raises(ShapeError) as caught:
        channels.one("settlement")
    assert caught.value.code == "channels.ambiguous"
    assert caught.value.facts["places"] == ["left", "right"]


def test_one_prefers_the_channel_without_a_place() -> None:
    channels = mapped(
        entry("a", "load", "kN"), entry("b", "load", "kN", place="north"), frame="a;b\n1;2\n"
    )
    assert channels.one("load").values.tolist() == [1.0]


def test_one_says_what_there_is_instead() -> None:
    channels = mapped(entry("Load", "load", "kN"))
    assert channels.all("slip") == ()
    with pytest.raises(ShapeError, match=r"no slip at 'end'; it has load\."):
        channels.one("slip", "end")


@st.composite
def pieces_of_a_file(draw: st.DrawFn) -> tuple[list[list[float]], list[dict[str, Any]], list[int]]:
    """Rows of three columns with gaps, entries with every kind of zero, and cuts."""
    number = st.one_of(st.floats(-1e6, 1e6), st.just(float("nan")))
    rows = draw(st.lists(st.tuples(number, number, number), min_size=1, max_size=40))
    zeros: Any = st.one_of(
        st.just("first"), st.floats(-10, 10), st.builds(lambda n: {"first": n}, st.integers(1, 60))
    )
    kinds = [("load", ("kN", "N", "lbf")), ("deflection", ("mm", "in")), ("slip", ("mm", "µm"))]
    entries = [
        entry(
            name,
            quantity,
            draw(st.sampled_from(units)),
            zero=draw(zeros),
            sign=draw(st.sampled_from([1, -1])),
            scale=draw(st.floats(0.1, 10)),
        )
        for name, (quantity, units) in zip("abc", kinds, strict=True)
    ]
    return [list(row) for row in rows], entries, draw(st.lists(st.integers(0, 39), max_size=5))


@given(pieces_of_a_file())
@settings(max_examples=150, deadline=None)
def test_a_map_bound_once_gives_piece_by_piece_what_it_gives_at_once(file: Any) -> None:
    rows, entries, cuts = file
    columns = [np.array(values, dtype=np.float64) for values in zip(*rows, strict=True)]
    head = TableHead(tuple(Column(name) for name in "abc"))
    table = RawTable(
        head.columns, dict(zip("abc", columns, strict=True)), np.arange(1, len(rows) + 1)
    )
    channel_map = ChannelMap.from_data(entries)
    bound = bind_map({"f": head}, channel_map)
    edges = [0, *sorted(cut % (len(rows) + 1) for cut in cuts), len(rows)]
    parts = [[column[a:b] for column in columns] for a, b in pairwise(edges)]
    finder = ZeroFinder(bound.of("f"))
    for part in parts:
        if finder.settled:
            break
        finder.feed(part)
    empty = any(
        item["zero"] == "first" or isinstance(item["zero"], dict)
        for item, column in zip(entries, columns, strict=True)
        if np.isnan(column).all()
    )
    if empty:
        for refused in (finder.found, lambda: apply_map({"f": table}, channel_map)):
            with pytest.raises(ShapeError, match="zeroed at its first reading"):
                refused()
        return
    whole = apply_map({"f": table}, channel_map)
    settled = finder.found()
    taken = [settled.take(part) for part in parts]
    for place, channel in enumerate(whole.channels):
        found = np.concatenate([channels.channels[place].values for channels in taken])
        np.testing.assert_array_equal(found, channel.values)
        assert settled.channels[place].zero == channel.zero
