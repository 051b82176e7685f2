"""Delimited text becomes a table: clean blocks by the fast path, the others line by line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.blocks import BLOCK_BYTES, Block, line_blocks
from labmatrix.evidence.reading.cells import split_line
from labmatrix.evidence.reading.column import plain_name
from labmatrix.evidence.reading.dialect import (
    HEAD_BYTES,
    Dialect,
    HeadLines,
    head_lines,
    sniff_head,
    with_overrides,
)
from labmatrix.evidence.reading.exact import read_exactly
from labmatrix.evidence.reading.fast import read_fast
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.grid import NUMBER, TEXT
from labmatrix.evidence.reading.guess import guess_quantity
from labmatrix.evidence.reading.header import without_comment_sign
from labmatrix.evidence.reading.layout import Piece, layout_of
from labmatrix.evidence.reading.table import RawTable
from labmatrix.evidence.reading.timeline import TimeTrack, look_at_order
from labmatrix.kernel.errors import ShapeError

# A record may lose one row in twenty, and three rows in any case; beyond that it is refused.
BAD_SHARE = 0.05
_BAD_ALWAYS_ALLOWED = 3
# Lines before a cut end that tell how many decimals the last number should have.
_TAIL_LINES = 21

Progress = Callable[[float], None]


def read_delimited(
    stream: BinaryIO,
    dialect: Dialect | None = None,
    *,
    progress: Progress | None = None,
    overrides: Mapping[str, Any] | None = None,
) -> RawTable:
    """A delimited text file as a table of float64 columns.

    Args:
        stream: the file's bytes from its beginning.
        dialect: a saved dialect; None lets the file's head decide.
        progress: told the share read so far, 0 to 1.
        overrides: what a person states: any of encoding, delimiter, decimal, thousands,
            first_data_line.

    Raises:
        ShapeError: ``record.…``, when the file is not a table of numbers, leaves two readings, or
            loses more than one row in twenty.
    """
    start = stream.tell() if stream.seekable() else None
    try:
        reading = DelimitedReading(stream, dialect, overrides=overrides)
        return reading.table(list(reading.pieces(progress)))
    except ShapeError as error:
        if error.code != "record.date-ambiguous" or start is None:
            raise
        stream.seek(start)
        reading = DelimitedReading(stream, dialect, overrides=overrides, date_order="month first")
        return reading.table(list(reading.pieces(progress)))


@dataclass(frozen=True)
class _Source:
    head: bytes
    stream: BinaryIO
    size: int | None


class DelimitedReading:
    """One reading of one file, block by block, in bounded memory.

    ``pieces`` gives the rows; afterwards ``findings`` holds what was met, and ``table`` makes a
    whole table of the pieces for files that fit in memory. ``head`` has the first lines by number.
    """

    def __init__(
        self,
        stream: BinaryIO,
        dialect: Dialect | None = None,
        *,
        overrides: Mapping[str, Any] | None = None,
        block_bytes: int = BLOCK_BYTES,
        date_order: str = "day first",
    ) -> None:
        self._source = _open(stream)
        self._block_bytes = block_bytes
        self.findings = Findings()
        head, complete = self._source.head, len(self._source.head) <= HEAD_BYTES
        if dialect is None:
            dialect = sniff_head(head[:HEAD_BYTES], complete=complete, overrides=overrides)
            lines = head_lines(head[:HEAD_BYTES], complete=complete, encoding=dialect.encoding)
        else:
            dialect = with_overrides(dialect, overrides)
            lines = head_lines(head[:HEAD_BYTES], complete=complete, encoding=dialect.encoding)
            _refuse_other_columns(dialect, lines)
        self.head = lines.text
        self.layout = layout_of(dialect, list(lines.text.items()), date_order=date_order)
        self._tracks = {
            index: TimeTrack(form, dialect.columns[index].name)
            for index, form in self.layout.time_forms.items()
        }
        self._note_dialect(dialect)

    @property
    def dialect(self) -> Dialect:
        """How the file writes its table."""
        return self.layout.dialect

    def pieces(self, progress: Progress | None = None) -> Iterator[Piece]:
        """The rows of the file in order, written time as continuous seconds.

        Raises:
            ShapeError: ``record.…``.
        """
        source = self._source
        skip = self.dialect.first_data_line - 1
        blocks = line_blocks(
            source.head,
            source.stream,
            self.dialect.encoding,
            skip_lines=skip,
            block_bytes=self._block_bytes,
        )
        rows = 0
        for block in blocks:
            for data, first_line, cut in _parts(block):
                piece = self._read(data, first_line, cut=cut)
                rows += len(piece.lines)
                if len(piece.lines):
                    yield self._with_time(piece)
            if progress is not None and source.size:
                progress(min(1.0, block.consumed / source.size))
        self._refuse_bad(rows)
        if progress is not None:
            progress(1.0)

    def table(self, pieces: list[Piece]) -> RawTable:
        """The whole table of all pieces, its columns looked at."""
        lines = np.concatenate([piece.lines for piece in pieces])
        values: dict[str, NDArray[np.float64]] = {}
        for index, column in enumerate(self.layout.columns):
            numbers = np.concatenate([piece.values[index] for piece in pieces])
            for piece in pieces:
                piece.values[index] = _NOTHING
            values[column.name] = numbers
            if self.layout.kinds[index] == NUMBER and bool(np.isnan(numbers).all()):
                self.findings.add(f.EMPTY_COLUMN, [], column.name)
            elif self.layout.kinds[index] != TEXT and guess_quantity(column) == "time":
                look_at_order(numbers, lines, column.name, self.findings)
        origins = {
            self.layout.columns[index].name: track.origin
            for index, track in self._tracks.items()
            if track.origin is not None
        }
        clocks = tuple(self.layout.columns[index].name for index in self._tracks)
        return RawTable(
            self.layout.columns, values, lines, self.findings.warnings(), origins, clocks
        )

    def _read(self, data: bytes, first_line: int, *, cut: bool) -> Piece:
        piece = None if cut else read_fast(data, first_line, self.layout, self.findings)
        if piece is None:
            piece = read_exactly(data, first_line, self.layout, self.findings, cut=cut)
        return piece

    def _with_time(self, piece: Piece) -> Piece:
        for index, track in self._tracks.items():
            piece.values[index] = track.follow(
                piece.days.get(index), piece.values[index], piece.lines, self.findings
            )
        return piece

    def _refuse_bad(self, rows: int) -> None:
        left_out = self.findings.count(f.ROW_LENGTH) + self.findings.count(f.TEXT_LINE)
        bad, total = left_out + self.findings.most(f.TEXT_CELL), rows + left_out
        if rows == 0:
            raise refusals.no_numeric_rows(total)
        if (bad > BAD_SHARE * total and bad > _BAD_ALWAYS_ALLOWED) or bad > rows:
            lines = self.findings.first_lines(f.ROW_LENGTH, f.TEXT_LINE, f.TEXT_CELL)
            raise refusals.too_many_bad_rows(bad, total, lines, BAD_SHARE)

    def _note_dialect(self, dialect: Dialect) -> None:
        if dialect.ends_with_delimiter:
            self.findings.add(f.ENDS_WITH_DELIMITER, [])
        if dialect.names_line is None:
            self.findings.add(f.NO_NAMES, [])
        if dialect.decided_by_delimiter is not None:
            self.findings.add(f.DECIMAL_BY_DELIMITER, [])
        for index, kind in enumerate(self.layout.kinds):
            if kind == TEXT:
                self.findings.add(f.TEXT_COLUMN, [], dialect.columns[index].name)


_NOTHING: NDArray[np.float64] = np.empty(0)


def _open(stream: BinaryIO) -> _Source:
    """The head of a stream and, where it can seek, its size."""
    size = None
    if stream.seekable():
        start = stream.tell()
        size = stream.seek(0, 2) - start
        stream.seek(start)
    head = b""
    while len(head) <= HEAD_BYTES:
        more = stream.read(HEAD_BYTES + 1 - len(head))
        if not more:
            break
        head += more
    return _Source(head, stream, size)


def _parts(block: Block) -> Iterator[tuple[bytes, int, bool]]:
    """A block whose last line is cut gives its last lines apart, for the exact path."""
    if not block.cut:
        yield block.data, block.first_line, False
        return
    at = len(block.data)
    for _ in range(_TAIL_LINES + 1):
        at = block.data.rfind(b"\n", 0, at)
        if at < 0:
            break
    if at >= 0:
        yield block.data[: at + 1], block.first_line, False
    first = block.first_line + block.data.count(b"\n", 0, at + 1)
    yield block.data[at + 1 :], first, True


def _refuse_other_columns(dialect: Dialect, lines: HeadLines) -> None:
    if dialect.names_line is None:
        return
    written = without_comment_sign(lines.text.get(dialect.names_line, ""))
    found = [cell.strip() for cell in split_line(written, dialect.delimiter)]
    expected = [plain_name(column.name) for column in dialect.named_columns]
    named = zip(found, expected, strict=False)
    same = all(a == b or (not a and b.startswith("column ")) for a, b in named)
    if not same or len(found) < len(expected) or any(found[len(expected) :]):
        raise refusals.other_columns(dialect.names_line, found, expected)
