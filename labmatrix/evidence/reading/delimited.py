"""Delimited text becomes a table: clean blocks by the fast path, the others line by line."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, BinaryIO

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.ahead import one_ahead, worked_ahead
from labmatrix.evidence.reading.blocks import (
    BLOCK_BYTES,
    COMPILE_BYTES,
    Block,
    Place,
    line_blocks,
)
from labmatrix.evidence.reading.cells import split_line
from labmatrix.evidence.reading.column import plain_name
from labmatrix.evidence.reading.compiled import Parsed, parse_block, piece_of, takes
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
from labmatrix.evidence.reading.header import without_comment_sign
from labmatrix.evidence.reading.layout import Piece, joined, layout_of
from labmatrix.evidence.reading.table import RawTable, TableHead
from labmatrix.evidence.reading.timeline import TimeTrack, look_at_order
from labmatrix.kernel.errors import ShapeError

# A record may lose one row in twenty, and three rows in any case; beyond that it is refused.
BAD_SHARE = 0.05
_BAD_ALWAYS_ALLOWED = 3

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
    start: int
    size: int | None


class DelimitedReading:
    """One reading of one file, block by block, in bounded memory.

    ``pieces`` gives the rows; afterwards ``findings`` holds what was met, and ``table`` makes a
    whole table of the pieces for files that fit in memory. ``head`` has the first lines by number.
    Between two pieces ``state`` says where the reading stands; another reading of the same file
    goes on there with ``go_on``.
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
        self._place: Place | None = None
        self._rows = 0
        self.findings = Findings()
        head, complete = self._source.head, len(self._source.head) <= HEAD_BYTES
        if dialect is None:
            dialect = (
                sniff_head(head[:HEAD_BYTES], complete=complete, overrides=overrides)
                if overrides
                else _sniffed(head[:HEAD_BYTES], complete)
            )
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
        head = source.head
        if self._place is not None:
            head = head[self._place.consumed :]
            source.stream.seek(source.start + max(len(source.head), self._place.consumed))
        blocks = line_blocks(
            head,
            source.stream,
            self.dialect.encoding,
            skip_lines=self.dialect.first_data_line - 1,
            block_bytes=self._block_bytes,
            place=self._place,
        )
        for block, parsed in self._parsed(blocks):
            piece = self._piece(block, parsed)
            self._rows += len(piece.lines)
            self._place = block.after
            if progress is not None and source.size:
                progress(min(1.0, block.after.consumed / source.size))
            if len(piece.lines):
                yield self._with_time(piece)
        self._refuse_bad(self._rows)
        if progress is not None:
            progress(1.0)

    def state(self) -> dict[str, Any]:
        """Where the reading stands, JSON-ready; to be asked between two pieces."""
        return {
            "place": self._place and self._place.as_dict(),
            "rows": self._rows,
            "findings": self.findings.state(),
            "tracks": {str(index): track.state() for index, track in self._tracks.items()},
        }

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Stand where another reading of the same file stood; ``pieces`` gives what follows."""
        place = state["place"]
        self._place = None if place is None else Place.from_dict(place)
        self._rows = int(state["rows"])
        self.findings = Findings.from_state(state["findings"])
        for index, kept in state["tracks"].items():
            self._tracks[int(index)].go_on(kept)

    @property
    def table_head(self) -> TableHead:
        """The columns as the table will have them."""
        clocks = tuple(self.layout.columns[index].name for index in self._tracks)
        return TableHead(self.layout.columns, clocks)

    @property
    def origins(self) -> dict[str, str]:
        """For each dated column the day at whose 00:00 its seconds begin, once rows were read."""
        return {
            self.layout.columns[index].name: track.origin
            for index, track in self._tracks.items()
            if track.origin is not None
        }

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
            elif self.layout.ordered[index]:
                look_at_order(numbers, lines, column.name, self.findings)
        head = self.table_head
        return RawTable(
            head.columns, values, lines, self.findings.warnings(), self.origins, head.clocks
        )

    def _parsed(self, blocks: Iterator[Block]) -> Iterator[tuple[Block, Parsed | None]]:
        """The blocks, and the numbers of those in which there is nothing else."""
        size = self._source.size
        if not takes(self.layout) or (size is not None and size < COMPILE_BYTES):
            return ((block, None) for block in one_ahead(blocks))

        def parsed(block: Block) -> Parsed | None:
            return None if block.cut else parse_block(block.data, self.layout, block.rows)

        return worked_ahead(blocks, parsed)

    def _piece(self, block: Block, parsed: Parsed | None) -> Piece:
        if parsed is not None:
            return piece_of(parsed, block.first_line, self.layout, self.findings)
        return joined([self._read(*part) for part in _parts(block)])

    def _read(self, data: bytes, first_line: int, cut: bool) -> Piece:
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


@lru_cache(maxsize=4)
def _sniffed(head: bytes, complete: bool) -> Dialect:
    """The dialect of a head; one piece of work often opens the same file more than once."""
    return sniff_head(head, complete=complete)


def _open(stream: BinaryIO) -> _Source:
    """The head of a stream and, where it can seek, its size."""
    start, size = 0, None
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
    return _Source(head, stream, start, size)


def _parts(block: Block) -> Iterator[tuple[bytes, int, bool]]:
    """A block whose last line is cut gives that line apart, for the exact path."""
    if not block.cut:
        yield block.data, block.first_line, False
        return
    at = block.data.rfind(b"\n", 0, -1) + 1
    if at:
        yield block.data[:at], block.first_line, False
    yield block.data[at:], block.first_line + block.data.count(b"\n", 0, at), True


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
