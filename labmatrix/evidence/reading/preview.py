"""A look at a file before it is accepted: first lines, dialect, a proposed channel map, plots."""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading.column import Column, bare_name, known_unit
from labmatrix.evidence.reading.delimited import DelimitedReading
from labmatrix.evidence.reading.dialect import Dialect
from labmatrix.evidence.reading.file_kind import is_parquet
from labmatrix.evidence.reading.guess import guess_quantity
from labmatrix.evidence.reading.parquet import read_parquet
from labmatrix.evidence.reading.table import RawTable, ReadingWarning

# A preview stops after so many rows of a delimited file.
PREVIEW_ROWS = 100_000
_LINE_SHOWN = 400
_PLOT_POINTS = 400
# A load or deflection that is this many times larger below zero than above counts downward.
_MOSTLY = 3.0
_SIGNED = ("load", "deflection")


@dataclass(frozen=True)
class ChannelGuess:
    """What a column probably is. A person accepts or changes it.

    Attributes:
        column: its name, stripped.
        quantity: a quantity of the channel map, or None where nothing points to one.
        unit: our spelling of its unit, or None where it is not known.
        sign: −1 where a load or deflection runs mostly below zero, else 1.
        place: the column's bare name where several columns share a quantity, else None.
        why: what the guess rests on, in words.
    """

    column: str
    quantity: str | None
    unit: str | None
    sign: int
    place: str | None
    why: str

    def as_entry(self) -> dict[str, Any] | None:
        """An entry for a channel map; None where quantity or unit must still be chosen."""
        if self.quantity is None or self.unit is None:
            return None
        entry: dict[str, Any] = {
            "column": self.column,
            "quantity": self.quantity,
            "unit": self.unit,
            "sign": self.sign,
        }
        return entry if self.place is None else entry | {"place": self.place}


@dataclass(frozen=True, eq=False)
class ColumnLook:
    """One column at a glance: values as they stand in the file, in its own unit.

    Attributes:
        name, unit: as in the table.
        minimum, maximum: of the rows read, None where there is no number.
        missing: number of rows without a value.
        first: the first values, None where missing.
        plot_rows, plot_values: smallest and largest value of each stretch of rows, for a plot.
    """

    name: str
    unit: str | None
    minimum: float | None
    maximum: float | None
    missing: int
    first: tuple[float | None, ...]
    plot_rows: NDArray[np.int64]
    plot_values: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Preview:
    """What a person sees before a map is accepted.

    Attributes:
        first_lines: line number and text as it stands, the header and the first rows.
        dialect: how a delimited file writes its table; None for Parquet.
        columns: each column at a glance.
        guesses: a proposed channel for each column.
        warnings: what the rows read so far brought up.
        row_count: rows read.
        complete: whether they are the whole file.
    """

    first_lines: tuple[tuple[int, str], ...]
    dialect: Dialect | None
    columns: tuple[ColumnLook, ...]
    guesses: tuple[ChannelGuess, ...]
    warnings: tuple[ReadingWarning, ...]
    row_count: int
    complete: bool


def preview(
    stream: BinaryIO, *, rows: int = 12, overrides: Mapping[str, Any] | None = None
) -> Preview:
    """A look at the beginning of a file, which is left where it was.

    Args:
        stream: the file's bytes.
        rows: how many rows of numbers to show as they stand.
        overrides: as in ``read_delimited``.

    Raises:
        ShapeError: ``record.…``, as the reading itself would.
    """
    start = stream.tell() if stream.seekable() else None
    if start is None:
        stream, start = io.BytesIO(stream.read()), 0
    head = stream.read(4)
    stream.seek(start)
    try:
        if is_parquet(head):
            return _of_parquet(read_parquet(stream), rows)
        return _of_text(DelimitedReading(stream, overrides=overrides, block_bytes=1 << 20), rows)
    finally:
        stream.seek(start)


def _of_text(reading: DelimitedReading, rows: int) -> Preview:
    pieces, count, complete = [], 0, True
    for piece in reading.pieces():
        pieces.append(piece)
        count += len(piece.lines)
        if count > PREVIEW_ROWS:
            complete = False
            break
    last = reading.dialect.first_data_line + rows
    shown = tuple((n, text[:_LINE_SHOWN]) for n, text in reading.head.items() if n < last)
    return _look(reading.table(pieces), shown, reading.dialect, rows, complete=complete)


def _of_parquet(table: RawTable, rows: int) -> Preview:
    names = [column.name for column in table.columns]
    cells = np.column_stack([table.values[name][:rows] for name in names])
    lines = [(int(n), "; ".join(f"{x:.10g}" for x in row)) for n, row in enumerate(cells, start=1)]
    shown = ((0, "; ".join(names)), *lines)
    return _look(table, shown, None, rows, complete=True)


def _look(
    table: RawTable,
    shown: tuple[tuple[int, str], ...],
    dialect: Dialect | None,
    rows: int,
    *,
    complete: bool,
) -> Preview:
    columns = tuple(_column(column, table.values[column.name], rows) for column in table.columns)
    return Preview(
        first_lines=shown,
        dialect=dialect,
        columns=columns,
        guesses=guess_channels(table),
        warnings=table.warnings,
        row_count=table.row_count,
        complete=complete,
    )


def _column(column: Column, values: NDArray[np.float64], rows: int) -> ColumnLook:
    there = values[np.isfinite(values)]
    plot_rows = extremes(values, _PLOT_POINTS)
    return ColumnLook(
        name=column.name,
        unit=column.unit,
        minimum=float(there.min()) if len(there) else None,
        maximum=float(there.max()) if len(there) else None,
        missing=len(values) - len(there),
        first=tuple(None if np.isnan(x) else float(x) for x in values[:rows]),
        plot_rows=plot_rows,
        plot_values=values[plot_rows],
    )


def extremes(values: NDArray[np.float64], points: int) -> NDArray[np.int64]:
    """Row indices of the smallest and largest value in each of ``points // 2`` stretches.

    Every extreme of the column is among them. Missing values are passed over; indices rise.

    Args:
        values: shape (rows,), NaN where missing.
        points: at most about this many indices.
    """
    there = np.flatnonzero(np.isfinite(values)).astype(np.int64)
    if len(there) <= points:
        return there
    borders = np.linspace(0, len(there), points // 2 + 1).astype(np.int64)
    found = [
        part[[int(np.argmin(values[part])), int(np.argmax(values[part]))]]
        for part in np.split(there, borders[1:-1])
    ]
    return np.unique(np.concatenate(found))


def guess_channels(table: RawTable) -> tuple[ChannelGuess, ...]:
    """A proposed channel for each column, in the order of the table."""
    guesses = [_guess(table, column) for column in table.columns]
    counts = Counter(guess.quantity for guess in guesses)
    time = next((guess.column for guess in guesses if guess.quantity == "time"), None)
    return tuple(_told_apart(guess, counts[guess.quantity], time) for guess in guesses)


def _told_apart(guess: ChannelGuess, count: int, time: str | None) -> ChannelGuess:
    """Of several time columns the first counts; other quantities are told apart by place."""
    if guess.quantity is None or count == 1:
        return guess
    if guess.quantity != "time":
        return replace(guess, place=bare_name(guess.column))
    if guess.column == time:
        return guess
    return replace(guess, quantity=None, why=f"time is taken from {time!r}")


def _guess(table: RawTable, column: Column) -> ChannelGuess:
    name, values = column.name.strip(), table.values[column.name]
    quantity, unit = guess_quantity(column), known_unit(column.unit)
    if not np.isfinite(values).any():
        return ChannelGuess(name, None, unit, 1, None, "the column holds no numbers")
    if quantity is None:
        return ChannelGuess(name, None, unit, 1, None, "neither name nor unit says what it is")
    if column.name in table.clocks:
        return ChannelGuess(name, "time", "s", 1, None, "it is written as clock time or date")
    unit = unit or ("1" if quantity == "count" else None)
    why = f"its unit is {column.unit.strip()}" if column.unit else "its name says so"
    why += "" if unit else "; its unit is not known"
    sign = 1
    if quantity in _SIGNED and -float(np.nanmin(values)) > _MOSTLY * abs(float(np.nanmax(values))):
        sign, why = -1, why + "; it runs mostly below zero, so its sign is turned"
    return ChannelGuess(name, quantity, unit, sign, None, why)
