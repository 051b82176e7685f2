"""Parquet: records that come as Parquet, and our own archive form of a table.

The archive form is exact: a column with fixed decimals is stored as whole numbers with its scale
and read back by true division; any other column as float64, byte-stream-split.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.column import Column, unit_in_name
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.guess import guess_quantity
from labmatrix.evidence.reading.table import RawTable, ReadingWarning, TableHead
from labmatrix.evidence.reading.timeline import look_at_order
from labmatrix.kernel.errors import ShapeError, TooLarge

# The version of the archive form, in the metadata of the file's schema.
ARCHIVE_VERSION = 1
TABLE_KEY, LINES_NAME = b"strongfloor.table", "strongfloor.line"
_MOST_DECIMALS, _SAMPLE = 9, 4096
# A few bytes of Parquet can unfold into any number of values; this many fit in memory.
MOST_VALUES = 250_000_000
_ROWS_TO_A_GROUP = 1 << 20
DAY_US = 86_400_000_000


def decimals_of(values: NDArray[np.float64]) -> int | None:
    """The fewest decimals that write every finite number of a column exactly, at most 9.

    Exactly means: ``rint(x · 10^d) / 10^d`` is x bit for bit. None where no number of decimals
    does, where a number is infinite, or where a zero is negative.

    Args:
        values: shape (rows,), NaN where missing.
    """
    there = values[~np.isnan(values)]
    if np.isinf(there).any() or np.signbit(there[there == 0.0]).any():
        return None
    if np.abs(there).max(initial=0.0) >= 2.0**53:
        return None
    # A sample rules out the small numbers of decimals before the whole column is looked at.
    least = _decimals_from(there[:_SAMPLE], 0)
    return None if least is None else _decimals_from(there, least)


def _decimals_from(there: NDArray[np.float64], least: int) -> int | None:
    for decimals in range(least, _MOST_DECIMALS + 1):
        scale = 10.0**decimals
        scaled = np.rint(there * scale)
        if np.abs(scaled).max(initial=0.0) >= 2.0**53:
            return None
        if np.array_equal(scaled / scale, there):
            return decimals
    return None


def write_parquet(table: RawTable) -> bytes:
    """A table in the archive form; ``read_parquet`` gives it back bit for bit."""
    import pyarrow as pa
    from pyarrow import parquet

    arrays, fields, encodings = [], [], {}
    decimals: dict[str, int | None] = {}
    for column in table.columns:
        values = table.values[column.name]
        decimals[column.name] = decimals_of(values)
        arrays.append(_stored(values, decimals[column.name]))
        fields.append(pa.field(column.name, arrays[-1].type))
        whole = decimals[column.name] is not None
        encodings[column.name] = "DELTA_BINARY_PACKED" if whole else "BYTE_STREAM_SPLIT"
    arrays.append(pa.array(table.lines, type=pa.int64()))
    fields.append(pa.field(LINES_NAME, pa.int64(), nullable=False))
    encodings[LINES_NAME] = "DELTA_BINARY_PACKED"
    about = json.dumps(_about(table, decimals), ensure_ascii=False)
    schema = pa.schema(fields, metadata={TABLE_KEY: about.encode()})
    sink = io.BytesIO()
    parquet.write_table(
        pa.Table.from_arrays(arrays, schema=schema),
        sink,
        compression="zstd",
        use_dictionary=False,
        column_encoding=encodings,
        row_group_size=_ROWS_TO_A_GROUP,
    )
    return sink.getvalue()


def _stored(values: NDArray[np.float64], decimals: int | None) -> Any:
    import pyarrow as pa

    if decimals is None:
        return pa.array(values, type=pa.float64())
    missing = np.isnan(values)
    scaled = np.rint(np.where(missing, 0.0, values) * 10.0**decimals)
    small = bool(np.abs(scaled).max(initial=0.0) < 2.0**31)
    return pa.array(scaled.astype(np.int32 if small else np.int64), mask=missing)


def _about(table: RawTable, decimals: Mapping[str, int | None]) -> dict[str, Any]:
    return {
        "version": ARCHIVE_VERSION,
        "columns": [
            {"name": c.name, "unit": c.unit, "decimals": decimals[c.name]} for c in table.columns
        ],
        "warnings": [warning.as_dict() for warning in table.warnings],
        "origins": dict(table.origins),
        "clocks": list(table.clocks),
    }


def read_parquet(stream: BinaryIO) -> RawTable:
    """A Parquet file as a table: our archive form, or any flat file with columns of numbers.

    In a foreign file a time stamp becomes seconds from 00:00 of its first day, a null is a missing
    value, a row's line number is its order counting from 1, and text is kept as missing and said.

    Raises:
        ShapeError: ``record.parquet`` (cannot be read), ``record.duplicate-names``,
            ``record.single-column`` or ``record.no-numeric-rows``.
        TooLarge: more than ``MOST_VALUES`` values.
    """
    arrow = _opened(stream)
    about = (arrow.schema.metadata or {}).get(TABLE_KEY)
    if about is None:
        return _foreign(arrow)
    try:
        return _own(arrow, json.loads(about))
    except (ValueError, KeyError, TypeError) as error:
        raise unreadable(f"its description is damaged: {error}") from error


def _opened(stream: BinaryIO) -> Any:
    """The whole file as an Arrow table, its names readable."""
    import pyarrow as pa
    from pyarrow import parquet

    try:
        file = parquet.ParquetFile(pa.PythonFile(stream, mode="r"))
        count = file.metadata.num_rows * file.metadata.num_columns
        if count > MOST_VALUES:
            raise TooLarge(
                "record.parquet-too-large",
                f"The Parquet file holds {count} values; allowed are at most {MOST_VALUES}.",
                values=count,
                allowed=MOST_VALUES,
            )
        arrow = file.read()
        _ = arrow.schema.names, arrow.schema.metadata
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise unreadable(str(error)) from error
    return arrow


def unreadable(why: str) -> ShapeError:
    """The refusal of a file that is no Parquet file or a damaged one, with the reason."""
    first_line = why.strip().splitlines()[0].rstrip(".") if why.strip() else "no reason given"
    return refusals.refusal(
        "parquet",
        f"The Parquet file cannot be read ({first_line}); copy it again from where it was made.",
    )


def _own(arrow: Any, about: dict[str, Any]) -> RawTable:
    if about["version"] != ARCHIVE_VERSION:
        raise unreadable(
            f"its form has version {about['version']}, known is version {ARCHIVE_VERSION}"
        )
    values = {}
    for index, column in enumerate(about["columns"]):
        stored = arrow.column(index).combine_chunks()
        numbers = np.array(stored.to_numpy(zero_copy_only=False), dtype=np.float64)
        if column["decimals"] is not None:
            numbers /= 10.0 ** column["decimals"]  # true division: exact, a reciprocal is not
        values[column["name"]] = numbers
    return RawTable(
        columns=tuple(Column(column["name"], column["unit"]) for column in about["columns"]),
        values=values,
        lines=arrow.column(LINES_NAME).to_numpy(),
        warnings=tuple(
            ReadingWarning(w["code"], w["message"], tuple(w["lines"]), w["count"])
            for w in about["warnings"]
        ),
        origins=about["origins"],
        clocks=tuple(about["clocks"]),
    )


def _foreign(arrow: Any) -> RawTable:
    names = list(arrow.schema.names)
    kinds = kinds_of(arrow.schema, arrow.num_rows)
    head = head_of(names, kinds)
    findings = Findings()
    lines = np.arange(1, arrow.num_rows + 1, dtype=np.int64)
    values, origins = {}, {}
    for index, (column, kind) in enumerate(zip(head.columns, kinds, strict=True)):
        stored = arrow.column(index).combine_chunks()
        midnight = midnight_of(stored)
        values[column.name] = numbers_of(stored, midnight)
        if midnight is not None:
            origins[column.name] = day_of(midnight)
        _look_at(column, kind, values[column.name], lines, findings)
    return RawTable(head.columns, values, lines, findings.warnings(), origins, head.clocks)


def kinds_of(schema: Any, rows: int) -> list[str]:
    """What each column of a foreign file holds: ``number``, ``clock`` or ``text``.

    Raises:
        ShapeError: ``record.duplicate-names``, ``record.no-numeric-rows`` or
            ``record.single-column``.
    """
    refuse_names(list(schema.names))
    kinds = [_kind(stored) for stored in schema.types]
    if rows == 0 or "number" not in kinds:
        raise refusals.no_numeric_rows(rows)
    if kinds.count("text") >= len(kinds) - 1:
        raise refusals.single_column(1, ", ".join(schema.names))
    return kinds


def head_of(names: Sequence[str], kinds: Sequence[str]) -> TableHead:
    """The columns of a foreign file: units from their names, clocks in seconds."""
    columns = tuple(
        Column(name, "s" if kind == "clock" else unit_in_name(name))
        for name, kind in zip(names, kinds, strict=True)
    )
    clocks = tuple(name for name, kind in zip(names, kinds, strict=True) if kind == "clock")
    return TableHead(columns, clocks)


def _kind(stored: Any) -> str:
    import pyarrow as pa

    types = pa.types
    if types.is_timestamp(stored) or types.is_time(stored) or types.is_duration(stored):
        return "clock"
    if types.is_decimal(stored) or types.is_integer(stored) or types.is_floating(stored):
        return "number"
    return "text"


def refuse_names(names: list[str]) -> None:
    """Refuse names that only differ in white space.

    Raises:
        ShapeError: ``record.duplicate-names``.
    """
    stripped = [name.strip() for name in names]
    repeated = sorted({name for name in stripped if stripped.count(name) > 1})
    if repeated:
        raise refusals.duplicate_names(1, repeated)


def numbers_of(stored: Any, midnight: int | None) -> NDArray[np.float64]:
    """A column of a foreign file as float64, NaN where null and where it holds text.

    Args:
        stored: an Arrow array.
        midnight: of time stamps, from ``midnight_of`` over the first of them.
    """
    import pyarrow as pa

    kind = stored.type
    if pa.types.is_timestamp(kind):
        return _stamps(stored, midnight)
    if pa.types.is_time(kind) or pa.types.is_duration(kind):
        wide = pa.time64("us") if pa.types.is_time(kind) else pa.duration("us")
        return _microseconds(stored.cast(wide)) / 1e6
    if pa.types.is_decimal(kind):
        stored, kind = stored.cast(pa.float64()), pa.float64()
    if pa.types.is_integer(kind) or pa.types.is_floating(kind):
        numbers = np.array(stored.to_numpy(zero_copy_only=False), dtype=np.float64)
        return numbers + 0.0
    return np.full(len(stored), np.nan)


def _microseconds(stored: Any) -> NDArray[np.float64]:
    import pyarrow as pa

    whole = stored.cast(pa.int64())
    return np.array(whole.to_numpy(zero_copy_only=False), dtype=np.float64)


def _whole_stamps(stored: Any) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc

    return pc.cast(stored, pa.timestamp("us", tz=stored.type.tz), safe=False).cast(pa.int64())


def midnight_of(stored: Any) -> int | None:
    """00:00 of the day of the first time stamp, µs since 1970; None where there is none."""
    import pyarrow as pa

    if not pa.types.is_timestamp(stored.type):
        return None
    there = _whole_stamps(stored).drop_null()
    return there[0].as_py() // DAY_US * DAY_US if len(there) else None


def day_of(midnight: int) -> str:
    """The day of a ``midnight_of``, as 2026-03-31."""
    return str(np.datetime64(midnight, "us").astype("datetime64[D]"))


def _stamps(stored: Any, midnight: int | None) -> NDArray[np.float64]:
    import pyarrow.compute as pc

    if midnight is None:
        return np.full(len(stored), np.nan)
    since = pc.subtract(_whole_stamps(stored), midnight)
    return np.array(since.to_numpy(zero_copy_only=False), dtype=np.float64) / 1e6


def _look_at(
    column: Column,
    kind: str,
    numbers: NDArray[np.float64],
    lines: NDArray[np.int64],
    findings: Findings,
) -> None:
    missing, over = np.isnan(numbers), np.isinf(numbers)
    if kind == "text":
        findings.add(f.TEXT_COLUMN, [], column.name)
    elif len(numbers) and missing.all():
        findings.add(f.EMPTY_COLUMN, [], column.name)
    else:
        for code, where in ((f.MISSING, missing), (f.OVER_RANGE, over)):
            if where.any():
                findings.add(code, lines[where], column.name)
        numbers[over] = np.nan
        if kind == "clock" or guess_quantity(column) == "time":
            look_at_order(numbers, lines, column.name, findings)
