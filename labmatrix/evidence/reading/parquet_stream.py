"""A Parquet record in pieces, as ``read_parquet`` gives it at once."""

from __future__ import annotations

import json
from collections.abc import Callable, Generator, Iterator, Mapping
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.guess import guess_quantity
from labmatrix.evidence.reading.layout import Piece
from labmatrix.evidence.reading.parquet import (
    ARCHIVE_VERSION,
    TABLE_KEY,
    day_of,
    head_of,
    kinds_of,
    midnight_of,
    numbers_of,
    unreadable,
)
from labmatrix.evidence.reading.table import ReadingWarning, TableHead
from labmatrix.evidence.reading.timeline import OrderTrack

# Rows that are unfolded at once.
PIECE_ROWS = 1 << 17


class ParquetStream:
    """A Parquet file in pieces: our archive form, or any flat file with columns of numbers.

    Args:
        stream: the file's bytes from its beginning; it can seek.
        state: where another reading of this file stood.

    Raises:
        ShapeError: as ``read_parquet``.
    """

    def __init__(self, stream: BinaryIO, *, state: Mapping[str, Any] | None = None) -> None:
        import pyarrow as pa
        from pyarrow import parquet

        try:
            self._file = parquet.ParquetFile(pa.PythonFile(stream, mode="r"))
            schema, self._size = self._file.schema_arrow, self._file.metadata.num_rows
            about = (schema.metadata or {}).get(TABLE_KEY)
        except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
            raise unreadable(str(error)) from error
        self._rows = 0
        self._form: _Archived | _Foreign
        self._form = _Foreign(schema, self._size) if about is None else _archived(about)
        if state is not None:
            self._rows = int(state["rows"])
            self._form.go_on(state["form"])

    @property
    def head(self) -> TableHead:
        """Its columns."""
        return self._form.head

    def pieces(self, progress: Callable[[float], None] | None = None) -> Generator[Piece]:
        """The rows in order; those that another reading gave already are passed over."""
        passed, self._rows = self._rows, 0
        for batch in self._batches():
            if self._rows + batch.num_rows <= passed:
                self._rows += batch.num_rows
                continue
            piece = self._form.piece(batch, self._rows)
            self._rows += batch.num_rows
            if progress is not None:
                progress(self._rows / self._size)
            yield piece
        self._form.close()

    def _batches(self) -> Iterator[Any]:
        import pyarrow as pa

        try:
            yield from self._file.iter_batches(batch_size=PIECE_ROWS)
        except (pa.ArrowException, OSError) as error:
            raise unreadable(str(error)) from error

    def state(self) -> dict[str, Any]:
        """Where the reading stands, JSON-ready."""
        return {"rows": self._rows, "form": self._form.state()}

    @property
    def origins(self) -> Mapping[str, str]:
        """Days of the columns of time stamps."""
        return self._form.origins()

    def warnings(self) -> tuple[ReadingWarning, ...]:
        """What was met."""
        return self._form.warnings()


def _archived(about: bytes) -> _Archived:
    try:
        return _Archived(json.loads(about))
    except (ValueError, KeyError, TypeError) as error:
        raise unreadable(f"its description is damaged: {error}") from error


class _Archived:
    """Our own form: numbers as they were, and the warnings of the first reading."""

    def __init__(self, about: dict[str, Any]) -> None:
        if about["version"] != ARCHIVE_VERSION:
            raise unreadable(
                f"its form has version {about['version']}, known is version {ARCHIVE_VERSION}"
            )
        self._decimals = [column["decimals"] for column in about["columns"]]
        self._warnings = tuple(
            ReadingWarning(w["code"], w["message"], tuple(w["lines"]), w["count"])
            for w in about["warnings"]
        )
        columns = tuple(Column(column["name"], column["unit"]) for column in about["columns"])
        self._origins = {str(name): str(day) for name, day in about["origins"].items()}
        self.head = TableHead(columns, tuple(about["clocks"]))

    def origins(self) -> Mapping[str, str]:
        return self._origins

    def piece(self, batch: Any, before: int) -> Piece:
        values = []
        for index, decimals in enumerate(self._decimals):
            stored = batch.column(index)
            numbers = np.array(stored.to_numpy(zero_copy_only=False), dtype=np.float64)
            if decimals is not None:
                numbers /= 10.0**decimals  # true division: exact, a reciprocal is not
            values.append(numbers)
        return Piece(values, {}, batch.column(len(values)).to_numpy(zero_copy_only=False))

    def close(self) -> None:
        """Nothing waits for the end."""

    def warnings(self) -> tuple[ReadingWarning, ...]:
        return self._warnings

    def state(self) -> dict[str, Any]:
        return {}

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Nothing is kept between pieces."""


class _Foreign:
    """Another program's file: nulls are missing, infinite is over range, stamps are seconds."""

    def __init__(self, schema: Any, rows: int) -> None:
        self._kinds = kinds_of(schema, rows)
        self.head = head_of(list(schema.names), self._kinds)
        self._midnights: list[int | None] = [None] * len(self._kinds)
        self._notes = [Findings() for _ in self._kinds]
        self._empty = [True] * len(self._kinds)
        self._orders = [
            OrderTrack(column.name)
            if kind == "clock" or (kind == "number" and guess_quantity(column) == "time")
            else None
            for column, kind in zip(self.head.columns, self._kinds, strict=True)
        ]
        self._findings = Findings()

    def piece(self, batch: Any, before: int) -> Piece:
        lines = np.arange(before + 1, before + 1 + batch.num_rows, dtype=np.int64)
        values = [
            self._column(index, batch.column(index), lines) for index in range(len(self._kinds))
        ]
        return Piece(values, {}, lines)

    def _column(self, index: int, stored: Any, lines: NDArray[np.int64]) -> NDArray[np.float64]:
        if self._midnights[index] is None:
            self._midnights[index] = midnight_of(stored)
        numbers = numbers_of(stored, self._midnights[index])
        if self._kinds[index] == "text":
            return numbers
        missing, over = np.isnan(numbers), np.isinf(numbers)
        self._empty[index] = self._empty[index] and bool(missing.all())
        for code, where in ((f.MISSING, missing), (f.OVER_RANGE, over)):
            if where.any():
                self._notes[index].add(code, lines[where], self.head.columns[index].name)
        numbers[over] = np.nan
        order = self._orders[index]
        if order is not None:
            order.feed(numbers, lines)
        return numbers

    def close(self) -> None:
        """Tells column by column, in the order of the file."""
        for index, (column, kind) in enumerate(zip(self.head.columns, self._kinds, strict=True)):
            if kind == "text":
                self._findings.add(f.TEXT_COLUMN, [], column.name)
            elif self._empty[index]:
                self._findings.add(f.EMPTY_COLUMN, [], column.name)
            else:
                met = {code: (lines, count) for code, _, lines, count in self._notes[index].state()}
                for code in (f.MISSING, f.OVER_RANGE):
                    if code in met:
                        self._findings.add_counted(code, *met[code], column.name)
                order = self._orders[index]
                if order is not None:
                    order.close(self._findings)

    def origins(self) -> Mapping[str, str]:
        return {
            column.name: day_of(midnight)
            for column, midnight in zip(self.head.columns, self._midnights, strict=True)
            if midnight is not None
        }

    def warnings(self) -> tuple[ReadingWarning, ...]:
        return self._findings.warnings()

    def state(self) -> dict[str, Any]:
        return {
            "midnights": self._midnights,
            "notes": [notes.state() for notes in self._notes],
            "empty": self._empty,
            "orders": [order and order.state() for order in self._orders],
        }

    def go_on(self, state: Mapping[str, Any]) -> None:
        self._midnights, self._empty = list(state["midnights"]), list(state["empty"])
        self._notes = [Findings.from_state(notes) for notes in state["notes"]]
        for order, kept in zip(self._orders, state["orders"], strict=True):
            if order is not None:
                order.go_on(kept)
