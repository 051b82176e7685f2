"""The quickest path: a large block of plain numbers, parsed by compiled code.

Whatever is not a plain number (words, quotes, another number of cells) leaves the block to the
next path; a number of too many digits for the loop is left to Python alone, cell by cell.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading.blocks import line_count
from labmatrix.evidence.reading.cells import OVER_RANGE_FROM
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.grid import NUMBER
from labmatrix.evidence.reading.layout import Layout, Piece
from labmatrix.evidence.reading.parse_loop import (
    ended_at,
    number_of,
    odd_cell_kernel,
    parse_lines,
    word_at,
)
from labmatrix.kernel.compiled import compiled

# More hard cells than one in so many rows, and the next path is the quicker one.
_ROWS_TO_A_HARD_CELL, _HARD_ALWAYS = 64, 64
_POWERS = np.array([float(f"1e{power}") for power in range(23)])


@dataclass(frozen=True)
class Parsed:
    """A block of plain numbers.

    Attributes:
        table: its numbers, shape (columns, rows), NaN for an empty cell.
        empty: how many empty cells each column has, shape (columns,).
    """

    table: NDArray[np.float64]
    empty: NDArray[np.int64]


def takes(layout: Layout) -> bool:
    """Whether blocks of this layout can be plain numbers at all."""
    dialect = layout.dialect
    return (
        all(kind == NUMBER for kind in layout.kinds)
        and not dialect.ends_with_delimiter
        and dialect.thousands is None
        and dialect.decimal != dialect.delimiter
    )


def parse_block(data: bytes, layout: Layout, rows: int) -> Parsed | None:
    """The numbers of a block, or None where it holds anything but plain numbers and empty cells.

    Args:
        data: lines in UTF-8, each ended by a line feed.
        layout: what each column holds; one that ``takes`` allows.
        rows: number of lines.
    """
    dialect = layout.dialect
    columns = len(layout.kinds)
    table = np.empty((columns, rows))
    hard = np.empty((max(_HARD_ALWAYS, rows // _ROWS_TO_A_HARD_CELL), 4), dtype=np.int64)
    counts = np.zeros(1 + columns, dtype=np.int64)
    parse = compiled(parse_lines, word_at, ended_at, number_of, odd_cell_kernel)
    raw = np.frombuffer(data, dtype=np.uint8)
    found = parse(raw, ord(dialect.delimiter), ord(dialect.decimal), _POWERS, table, hard, counts)
    if found != rows:
        return None
    for row, column, start, stop in hard[: counts[0]].tolist():
        value = dialect.form.number(data[start:stop].decode("ascii").strip())
        if value is None or abs(value) >= OVER_RANGE_FROM:
            return None
        table[column, row] = value
    return Parsed(table, counts[1:])


def piece_of(parsed: Parsed, first_line: int, layout: Layout, findings: Findings) -> Piece:
    """The rows of a parsed block; missing values are noted.

    Args:
        parsed: the block.
        first_line: number of its first line.
        layout: what each column holds.
        findings: takes note of missing values.
    """
    lines = np.arange(first_line, first_line + parsed.table.shape[1], dtype=np.int64)
    for index in np.flatnonzero(parsed.empty).tolist():
        missing = np.isnan(parsed.table[index])
        findings.add(f.MISSING, lines[missing], layout.dialect.columns[index].name)
    return Piece(list(parsed.table), {}, lines)


def read_compiled(data: bytes, first_line: int, layout: Layout, findings: Findings) -> Piece | None:
    """The rows of a block of plain numbers and empty cells, or None for any other block.

    Args:
        data: lines in UTF-8, each ended by a line feed.
        first_line: number of the first line.
        layout: what each column holds.
        findings: takes note of missing values; untouched where None is given.
    """
    if not takes(layout):
        return None
    parsed = parse_block(data, layout, line_count(data))
    return None if parsed is None else piece_of(parsed, first_line, layout, findings)
