"""The head of a file as a grid of cells: which delimiter, how wide, where the numbers begin."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from labmatrix.evidence.reading.cells import (
    is_loose_number,
    is_missing,
    is_over_range,
    is_plain_number,
    split_line,
)
from labmatrix.evidence.reading.time_cells import looks_like_time

DELIMITERS = (";", "\t", "|", ",")
NUMBER, TIME, MISSING, TEXT = "number", "time", "missing", "text"
# A names row may follow a numeric preamble; further down it is a repeated header.
_NAMES_WITHIN = 50


def kind_of(cell: str) -> str:
    """What a stripped cell is: number, time, missing (or over-range) or text."""
    if is_plain_number(cell):
        return NUMBER
    if is_missing(cell) or is_over_range(cell):
        return MISSING
    if looks_like_time(cell):
        return TIME
    return NUMBER if is_loose_number(cell) else TEXT


@dataclass(frozen=True)
class GridRow:
    """One line that is not blank: its number, stripped cells and their kinds."""

    line: int
    cells: tuple[str, ...]
    kinds: tuple[str, ...]

    @property
    def has_values(self) -> bool:
        """Whether any cell is a number or time."""
        return NUMBER in self.kinds or TIME in self.kinds

    @property
    def all_text(self) -> bool:
        """Whether the line says something and no cell of it is a number or time."""
        return not self.has_values and TEXT in self.kinds


@dataclass(frozen=True)
class Grid:
    """The rows of a head under one delimiter, the width of its table and how well it fits."""

    delimiter: str
    rows: tuple[GridRow, ...]
    width: int
    score: float

    @property
    def table_rows(self) -> list[GridRow]:
        """Rows of the table's width that hold values."""
        return [row for row in self.rows if len(row.cells) == self.width and row.has_values]


def grid_of(lines: Sequence[tuple[int, str]], delimiter: str) -> Grid:
    """The grid of numbered lines under one delimiter."""
    rows = []
    for number, line in lines:
        cells = tuple(cell.strip() for cell in split_line(line, delimiter))
        rows.append(GridRow(number, cells, tuple(kind_of(cell) for cell in cells)))
    scores: Counter[int] = Counter()
    for row in rows:
        if row.has_values and len(row.cells) > 1:
            share = sum(kind != TEXT for kind in row.kinds) / len(row.kinds)
            scores[len(row.cells)] += round(1000 * share**2)
    width = max(scores, key=lambda w: (scores[w], w), default=1)
    return Grid(delimiter, tuple(rows), width, scores[width] / 1000)


def best_grid(lines: Sequence[tuple[int, str]], delimiters: Sequence[str] = DELIMITERS) -> Grid:
    """The grid under the delimiter that turns most of the lines into numbers."""
    # A delimiter that no line has makes rows of one cell, and no table.
    there = [d for d in delimiters if any(d in line for _, line in lines)] or delimiters[:1]
    grids = [grid_of(lines, delimiter) for delimiter in there]
    return max(grids, key=lambda grid: grid.score)


def column_kinds(rows: Sequence[GridRow], width: int) -> tuple[str, ...]:
    """The kind that most cells of each column have; ``missing`` where no cell has a value."""
    kinds = []
    for index in range(width):
        counts = Counter(row.kinds[index] for row in rows if row.kinds[index] != MISSING)
        kinds.append(counts.most_common(1)[0][0] if counts else MISSING)
    return tuple(kinds)


def first_data_row(grid: Grid, kinds: Sequence[str]) -> int | None:
    """Index in ``grid.rows`` of the first row of numbers, past header and numeric preamble."""

    def fits(row: GridRow) -> bool:
        return (
            len(row.cells) == grid.width
            and row.has_values
            and all(k in (MISSING, want) for k, want in zip(row.kinds, kinds, strict=True))
        )

    def first_from(start: int) -> int | None:
        return next((i for i in range(start, len(grid.rows)) if fits(grid.rows[i])), None)

    def is_names(row: GridRow) -> bool:
        return len(row.cells) == grid.width and row.all_text and len(set(row.cells)) == grid.width

    first = first_from(0)
    if first is None or any(is_names(row) for row in grid.rows[:first]):
        return first
    below = range(first + 1, min(first + _NAMES_WITHIN, len(grid.rows)))
    names = next((i for i in below if is_names(grid.rows[i])), None)
    return first if names is None else (first_from(names + 1) or first)


def could_be_decimals(grid: Grid, first: int) -> bool:
    """Whether every comma between cells, from row ``first`` on, could be a decimal mark.

    Proof that it is not: any cell that no number could go on with, such as one with a dot, a
    sign, a quote or a time.
    """
    rows = [row for row in grid.rows[first:] if len(row.cells) == grid.width and row.has_values]
    digits = all(cell.isascii() and cell.isdigit() for row in rows for cell in row.cells[1:])
    return digits and all(row.cells[0].lstrip("+-−").isdigit() for row in rows)
