"""The archive form gives a table back bit for bit; foreign Parquet files are read with care."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp
from pyarrow import parquet

from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.parquet import decimals_of, read_parquet, write_parquet
from labmatrix.evidence.reading.table import RawTable
from labmatrix.kernel.errors import ShapeError, TooLarge
from tests.evidence.reading_samples import QUAYSIDE, lines_of, read


def there_and_back(table: RawTable) -> RawTable:
    return read_parquet(io.BytesIO(write_parquet(table)))


def foreign(columns: dict[str, Any]) -> io.BytesIO:
    sink = io.BytesIO()
    parquet.write_table(pa.table(columns), sink)
    return io.BytesIO(sink.getvalue())


def same_bits(one: RawTable, other: RawTable) -> bool:
    return all(one.values[name].tobytes() == other.values[name].tobytes() for name in one.values)


def test_gives_back_columns_lines_warnings_and_origins() -> None:
    text = "Stamp;Load [kN] ;d\n2026-03-31 10:00:00;1,25;OVER\n2026-03-31 10:00:00,5;-2,5;3\n"
    table = read(text)
    again = there_and_back(table)
    assert again.columns == table.columns
    assert again.lines.tolist() == [2, 3]
    assert again.warnings == table.warnings
    assert again.origins == {"Stamp": "2026-03-31"}
    assert again.clocks == ("Stamp",)
    assert same_bits(again, table)


@pytest.mark.parametrize(
    ("values", "decimals"),
    [
        ([1.0, -2.0, 0.0], 0),
        ([0.1, 0.25], 2),
        ([1234.567, np.nan, -0.001], 3),
        ([np.nan, np.nan], 0),
        ([], 0),
        ([1 / 3], None),
        ([-0.0, 1.5], None),
        ([np.inf], None),
        ([1e300], None),
        ([9007199254740993.0], None),
        ([3_000_000_000.5], 1),
    ],
)
def test_finds_the_fewest_decimals_that_are_exact(
    values: list[float], decimals: int | None
) -> None:
    assert decimals_of(np.array(values, dtype=np.float64)) == decimals


@given(
    hnp.arrays(
        np.float64,
        st.integers(1, 60),
        elements=st.one_of(
            st.floats(allow_nan=False),
            st.floats(-1e6, 1e6).map(lambda x: round(x, 3)),
            st.integers(-(2**40), 2**40).map(float),
            st.just(float("nan")),
        ),
    )
)
@settings(max_examples=200, deadline=None)
def test_any_numbers_come_back_bit_for_bit(values: Any) -> None:
    with np.errstate(over="ignore"):
        rounded = np.round(values, 2)
    table = RawTable(
        (Column("a", "kN"), Column("b")),
        {"a": values, "b": rounded},
        np.arange(5, 5 + len(values), dtype=np.int64),
    )
    again = there_and_back(table)
    for name in "ab":
        np.testing.assert_array_equal(again.values[name], table.values[name])
        finite = ~np.isnan(table.values[name])
        assert again.values[name][finite].tobytes() == table.values[name][finite].tobytes()


def test_fixed_decimals_are_stored_as_whole_numbers() -> None:
    data = write_parquet(read(QUAYSIDE))
    schema = parquet.read_schema(io.BytesIO(data))
    assert [str(kind) for kind in schema.types] == ["int32", "int32", "int32", "int64"]


def test_long_time_in_milliseconds_does_not_overflow() -> None:
    stamps = np.arange(0, 3e6, 1e5) + 0.001
    table = RawTable(
        (Column("t", "s"), Column("P", "kN")),
        {"t": stamps, "P": stamps},
        np.arange(len(stamps), dtype=np.int64),
    )
    assert same_bits(there_and_back(table), table)


def test_is_at_most_half_the_size_of_plain_parquet() -> None:
    rng = np.random.default_rng(7)
    time = np.round(np.arange(200_000) / 500, 3)
    load = np.round(24 + 16 * np.sin(2 * np.pi * 5 * time) + rng.normal(0, 0.01, len(time)), 3)
    table = RawTable(
        (Column("t", "s"), Column("P", "kN")),
        {"t": time, "P": load},
        np.arange(1, len(time) + 1, dtype=np.int64),
    )
    plain = io.BytesIO()
    parquet.write_table(pa.table({"t": time, "P": load}), plain, compression="zstd")
    assert len(write_parquet(table)) <= 0.5 * len(plain.getvalue())


def test_reads_a_foreign_file_with_time_stamps_and_nulls() -> None:
    start = datetime(2026, 3, 31, 23, 59, 59, tzinfo=UTC)
    stamps = [start + timedelta(seconds=i) for i in range(4)]
    table = read_parquet(
        foreign(
            {
                "stamp": pa.array(stamps, pa.timestamp("ms", tz="UTC")),
                "Load [kN]": pa.array([1.5, None, float("inf"), 4.5]),
                "cycles": pa.array([1, 2, 3, 4], pa.int32()),
                "hold": pa.array(["a", "b", "c", "d"]),
            }
        )
    )
    assert table.array("stamp").tolist() == [86399.0, 86400.0, 86401.0, 86402.0]
    assert table.origins == {"stamp": "2026-03-31"}
    assert table.columns[1] == Column("Load [kN]", "kN")
    np.testing.assert_array_equal(table.array("Load"), [1.5, np.nan, np.nan, 4.5])
    assert lines_of(table, "missing-value") == (2,)
    assert lines_of(table, "over-range") == (3,)
    assert lines_of(table, "text-column") == ()


def test_says_backward_time_of_a_foreign_file() -> None:
    table = read_parquet(foreign({"time": [0.0, 1.0, 0.5], "P": [1.0, 2.0, 3.0]}))
    assert lines_of(table, "time-backward") == (3,)


@pytest.mark.parametrize(
    ("columns", "code"),
    [
        ({"P": [1.0], "P ": [2.0]}, "duplicate-names"),
        ({"P": [1.0], "note": ["x"]}, "single-column"),
        ({"a": ["x"], "b": ["y"]}, "no-numeric-rows"),
        ({"a": pa.array([], pa.float64()), "b": pa.array([], pa.float64())}, "no-numeric-rows"),
    ],
)
def test_refuses_a_foreign_file_without_a_table_of_numbers(
    columns: dict[str, Any], code: str
) -> None:
    with pytest.raises(ShapeError) as caught:
        read_parquet(foreign(columns))
    assert caught.value.code == f"record.{code}"


@given(st.binary(max_size=60), st.integers(0, 2000))
@settings(max_examples=100, deadline=None)
def test_refuses_a_damaged_file(junk: bytes, keep: int) -> None:
    data = write_parquet(read(QUAYSIDE))
    with pytest.raises(ShapeError) as caught:
        read_parquet(io.BytesIO(data[: min(keep, len(data) - 5)] + junk))
    assert caught.value.code == "record.parquet"
    assert caught.value.message.endswith(".")


@pytest.mark.parametrize(
    "about", [b"{", b"[]", b'{"version": 99}', b'{"version": 1}', b'{"version": 1, "columns": 7}']
)
def test_refuses_an_archive_with_a_damaged_description(about: bytes) -> None:
    sink = io.BytesIO()
    table = pa.table({"a": [1.0]}).replace_schema_metadata({b"strongfloor.table": about})
    parquet.write_table(table, sink)
    with pytest.raises(ShapeError) as caught:
        read_parquet(io.BytesIO(sink.getvalue()))
    assert caught.value.code == "record.parquet"


def test_refuses_a_file_that_unfolds_beyond_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("labmatrix.evidence.reading.parquet.MOST_VALUES", 7)
    with pytest.raises(TooLarge, match="8 values"):
        read_parquet(foreign({"a": [1.0] * 4, "b": [2.0] * 4}))
