"""What each column of a file holds, fixed before its rows are read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.column import Column, plain_name
from labmatrix.evidence.reading.dialect import LINES_LOOKED_AT, Dialect
from labmatrix.evidence.reading.grid import MISSING, NUMBER, TEXT, TIME, column_kinds, grid_of
from labmatrix.evidence.reading.guess import guess_quantity
from labmatrix.evidence.reading.time_cells import TimeForm, time_form_of

# So many rows with the same number of decimals say that the logger writes a fixed number.
_ROWS_TO_TELL = 3


@dataclass(frozen=True)
class Layout:
    """The dialect with what each named column holds.

    Attributes:
        dialect: how the file writes its table.
        kinds: number, time or text for each named column.
        time_forms: how a column of written time writes it, by column index.
        last_decimals: how many decimals the last column has in every row of the sample; None
            where that differs or the sample is too small to tell.
    """

    dialect: Dialect
    kinds: tuple[str, ...]
    time_forms: dict[int, TimeForm]
    last_decimals: int | None = None

    @cached_property
    def columns(self) -> tuple[Column, ...]:
        """The named columns as the table will have them: written time is in seconds."""
        return tuple(
            Column(column.name, "s") if kind == TIME else column
            for column, kind in zip(self.dialect.named_columns, self.kinds, strict=True)
        )

    @cached_property
    def ordered(self) -> tuple[bool, ...]:
        """For each named column whether its rows should follow each other in time."""
        return tuple(
            kind != TEXT and guess_quantity(column) == "time" and not self._holds_days(index)
            for index, (column, kind) in enumerate(zip(self.columns, self.kinds, strict=True))
        )

    def _holds_days(self, index: int) -> bool:
        form = self.time_forms.get(index)
        return form is not None and form.days_only

    @property
    def names(self) -> tuple[str, ...]:
        """Stripped names, as a repeated header would write them."""
        return tuple(plain_name(column.name) for column in self.dialect.named_columns)


@dataclass
class Piece:
    """The rows of one block.

    Attributes:
        values: one array (rows,) for each named column; written time as seconds of its day.
        days: day number of each row for dated columns, by column index.
        lines: line number of each row, (rows,).
    """

    values: list[NDArray[np.float64]]
    days: dict[int, NDArray[np.int64]]
    lines: NDArray[np.int64]


def joined(pieces: Sequence[Piece]) -> Piece:
    """Pieces that follow each other, as one."""
    if len(pieces) == 1:
        return pieces[0]
    columns = zip(*(piece.values for piece in pieces), strict=True)
    return Piece(
        values=[np.concatenate(column) for column in columns],
        days={
            index: np.concatenate([piece.days[index] for piece in pieces])
            for index in pieces[0].days
        },
        lines=np.concatenate([piece.lines for piece in pieces]),
    )


def layout_of(
    dialect: Dialect, lines: Sequence[tuple[int, str]], *, date_order: str | None = None
) -> Layout:
    """The layout of a file from its first lines of numbers.

    Args:
        dialect: how the file writes its table.
        lines: numbered lines from the first data line on; a sample is enough.
        date_order: the order of day and month to try where the sample does not prove one.

    Raises:
        ShapeError: ``record.no-numeric-rows``, or ``record.single-column`` where only one column
            holds numbers or time.
    """
    width = len(dialect.columns)
    sample = [(n, text) for n, text in lines if n >= dialect.first_data_line and text.strip()]
    grid = grid_of(sample[:LINES_LOOKED_AT], dialect.delimiter)
    rows = [row for row in grid.rows if len(row.cells) == width and row.has_values]
    if not rows:
        raise refusals.no_numeric_rows(len(sample))
    found = column_kinds(rows, width)[: len(dialect.named_columns)]
    kinds, forms = [NUMBER if kind == MISSING else kind for kind in found], {}
    for index in [i for i, kind in enumerate(kinds) if kind == TIME]:
        cells = [row.cells[index] for row in rows if row.kinds[index] == TIME]
        form = time_form_of(cells, date_order)
        if form is None:
            kinds[index] = TEXT
        else:
            forms[index] = form
    if NUMBER not in kinds:
        raise refusals.no_numeric_rows(len(sample))
    if kinds.count(TEXT) == len(kinds) - 1:
        raise refusals.single_column(rows[0].line, dialect.delimiter.join(rows[0].cells))
    last = [row.cells[len(kinds) - 1] for row in rows[:-1]]
    return Layout(dialect, tuple(kinds), forms, _constant_decimals(last, dialect.decimal))


def decimals_in(cell: str, decimal: str) -> int:
    """How many characters stand behind the decimal mark of a cell."""
    return len(cell.strip().partition(decimal)[2])


def _constant_decimals(cells: Sequence[str], decimal: str) -> int | None:
    found = {decimals_in(cell, decimal) for cell in cells}
    return found.pop() if len(cells) >= _ROWS_TO_TELL and len(found) == 1 else None
