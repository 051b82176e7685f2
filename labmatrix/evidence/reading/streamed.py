"""A record's file piece by piece, in bounded memory, to be left and taken up again anywhere.

What ``read_table`` gives at once comes here in pieces: the same numbers, and after the last piece
the same warnings.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping
from typing import Any, BinaryIO, Protocol

import numpy as np

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading.blocks import BLOCK_BYTES
from labmatrix.evidence.reading.column import Column
from labmatrix.evidence.reading.delimited import DelimitedReading
from labmatrix.evidence.reading.file_kind import is_parquet
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.grid import NUMBER
from labmatrix.evidence.reading.layout import Piece
from labmatrix.evidence.reading.parquet_stream import ParquetStream
from labmatrix.evidence.reading.table import ReadingWarning, TableHead
from labmatrix.evidence.reading.timeline import OrderTrack

Progress = Callable[[float], None]


class Streamed(Protocol):
    """One reading of one file."""

    @property
    def head(self) -> TableHead:
        """Its columns."""
        ...

    def pieces(self, progress: Progress | None = None) -> Generator[Piece]:
        """The rows in order, written time as continuous seconds.

        Raises:
            ShapeError: ``record.…``.
        """
        ...

    def state(self) -> dict[str, Any]:
        """Where the reading stands, JSON-ready; to be asked between two pieces."""
        ...

    @property
    def origins(self) -> Mapping[str, str]:
        """For each dated column the day at whose 00:00 its seconds begin, once rows were read."""
        ...

    def warnings(self) -> tuple[ReadingWarning, ...]:
        """What was met, once all pieces were read."""
        ...


class TextStream:
    """A delimited text file in pieces.

    Args:
        stream: the file's bytes from its beginning; it can seek.
        date_order: of dates that the head of the file does not prove.
        block_bytes: how much is read at once.
        state: where another reading of this file stood; with the same ``block_bytes``.

    Raises:
        ShapeError: ``record.…``, when the head is not that of a table.
    """

    def __init__(
        self,
        stream: BinaryIO,
        *,
        date_order: str = "day first",
        block_bytes: int = BLOCK_BYTES,
        state: Mapping[str, Any] | None = None,
    ) -> None:
        order = state["date_order"] if state is not None else date_order
        self._reading = DelimitedReading(stream, block_bytes=block_bytes, date_order=order)
        self._order = order
        layout = self._reading.layout
        self._looks = [
            _ColumnLook(column, kind, ordered)
            for column, kind, ordered in zip(
                layout.columns, layout.kinds, layout.ordered, strict=True
            )
        ]
        if state is not None:
            self._reading.go_on(state["reading"])
            for look, kept in zip(self._looks, state["looks"], strict=True):
                look.go_on(kept)

    @property
    def head(self) -> TableHead:
        """Its columns."""
        return self._reading.table_head

    def pieces(self, progress: Progress | None = None) -> Generator[Piece]:
        """The rows in order; see ``Streamed``."""
        for piece in self._reading.pieces(progress):
            for look, values in zip(self._looks, piece.values, strict=True):
                look.feed(values, piece.lines)
            yield piece
        for look in self._looks:
            look.close(self._reading.findings)

    def state(self) -> dict[str, Any]:
        """Where the reading stands."""
        return {
            "date_order": self._order,
            "reading": self._reading.state(),
            "looks": [look.state() for look in self._looks],
        }

    @property
    def origins(self) -> Mapping[str, str]:
        """Days of the dated columns."""
        return self._reading.origins

    def warnings(self) -> tuple[ReadingWarning, ...]:
        """What was met."""
        return self._reading.findings.warnings()


class _ColumnLook:
    """Looks whether a column has any value, and at the order of one of time."""

    def __init__(self, column: Column, kind: str, ordered: bool) -> None:
        self._name = column.name
        self._numbers = kind == NUMBER
        self._empty = True
        self._order = OrderTrack(column.name) if ordered else None

    def feed(self, values: np.ndarray[Any, Any], lines: np.ndarray[Any, Any]) -> None:
        if self._empty and self._numbers:
            self._empty = bool(np.isnan(values).all())
        if self._order is not None:
            self._order.feed(values, lines)

    def close(self, findings: Findings) -> None:
        if self._numbers and self._empty:
            findings.add(f.EMPTY_COLUMN, [], self._name)
        elif self._order is not None:
            self._order.close(findings)

    def state(self) -> dict[str, Any]:
        return {"empty": self._empty, "order": self._order and self._order.state()}

    def go_on(self, state: Mapping[str, Any]) -> None:
        self._empty = bool(state["empty"])
        if self._order is not None:
            self._order.go_on(state["order"])


def open_stream(
    stream: BinaryIO,
    *,
    date_order: str = "day first",
    block_bytes: int = BLOCK_BYTES,
    state: Mapping[str, Any] | None = None,
) -> Streamed:
    """A record's file in pieces, whichever of the two forms it has.

    A file whose dates turn out to be written the other way round refuses with
    ``record.date-ambiguous``: it is then opened again with ``date_order="month first"``.

    Args:
        stream: the file's bytes from its beginning; it can seek.
        date_order: of dates that the head of the file does not prove.
        block_bytes: how much text is read at once.
        state: where another reading of this file stood, from ``Streamed.state``.

    Raises:
        ShapeError: ``record.…``, when the head is not that of a table.
    """
    first = stream.read(4)
    stream.seek(-len(first), 1)
    if is_parquet(first):
        return ParquetStream(stream, state=state)
    return TextStream(stream, date_order=date_order, block_bytes=block_bytes, state=state)
