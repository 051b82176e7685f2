"""The lines above the numbers: which one names the columns, which one has the units."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.cells import split_line
from labmatrix.evidence.reading.column import Column, is_unit_word, unit_in_name, unit_text
from labmatrix.evidence.reading.grid import Grid, GridRow, could_be_decimals

_COMMENT_SIGNS = ("#", "%", "//")


@dataclass(frozen=True)
class Header:
    """Columns as named, with the lines that named them (None where the file does not)."""

    columns: tuple[Column, ...]
    names_line: int | None
    units_line: int | None


def read_header(grid: Grid, first: int, lines: dict[int, str]) -> Header:
    """The header above row ``first`` of a grid.

    Args:
        grid: the head of the file in cells.
        first: index in ``grid.rows`` of the first row of numbers.
        lines: the raw text of each line, for names as written.

    Raises:
        ShapeError: ``record.header-length``, ``record.comma-ambiguous`` or
            ``record.duplicate-names``.
    """
    above = [row for row in grid.rows[:first] if _width(row, grid, first) == grid.width]
    units_row = next((row for row in reversed(above) if _is_units_row(row)), None)
    if len([row for row in above if row.all_text]) == 1 and _could_be_names(above):
        units_row = None
    candidates = [row for row in above if row is not units_row and any(row.cells)]
    if units_row is not None:
        candidates = [row for row in candidates if row.line < units_row.line] or candidates
    names_row = _pick_names(candidates)
    if names_row is None:
        _refuse_other_length(grid, first)
        return Header(_unnamed(grid, units_row), None, units_row.line if units_row else None)
    columns = _columns(grid, names_row, units_row, lines[names_row.line])
    _refuse_duplicates(columns, names_row.line)
    return Header(columns, names_row.line, units_row.line if units_row else None)


def _width(row: GridRow, grid: Grid, first: int) -> int:
    """Width of a header row, empty cells at its end added or left out to fit the table."""
    width = len(row.cells)
    while width > grid.width and not row.cells[width - 1]:
        width -= 1
    last_is_empty = all(not r.cells[-1] for r in grid.rows[first:] if len(r.cells) == grid.width)
    return width + 1 if width == grid.width - 1 and width > 1 and last_is_empty else width


def _is_units_row(row: GridRow) -> bool:
    filled = [cell for cell in row.cells if cell]
    return bool(filled) and 2 * sum(is_unit_word(cell) for cell in filled) > len(filled)


def _could_be_names(rows: Sequence[GridRow]) -> bool:
    """Short names such as F or d read as units too; alone above the numbers they are names."""
    cells = next(row.cells for row in rows if row.all_text)
    return len(set(cells)) == len(cells) and not any(cell.startswith(("[", "(")) for cell in cells)


def _pick_names(candidates: Sequence[GridRow]) -> GridRow | None:
    named = [row for row in candidates if not row.has_values] or list(candidates)
    distinct = [row for row in named if len(set(row.cells)) == len(row.cells)]
    return (distinct or named)[-1] if named else None


def _columns(grid: Grid, names: GridRow, units: GridRow | None, raw: str) -> tuple[Column, ...]:
    written = [*split_line(raw, grid.delimiter), ""][: grid.width]
    written[0] = without_comment_sign(written[0])
    columns = []
    for index, name in enumerate(written):
        if not name.strip():
            columns.append(Column(_name_of(grid, index)))
            continue
        unit = unit_text(units.cells[index]) if units and index < len(units.cells) else None
        columns.append(Column(name, unit or unit_in_name(name)))
    return tuple(columns)


def without_comment_sign(name: str) -> str:
    """A first name or names row without the comment sign that some loggers put before it."""
    stripped = name.lstrip()
    for sign in _COMMENT_SIGNS:
        if stripped.startswith(sign) and stripped != sign:
            return stripped.lstrip("#%/").lstrip()
    return name


def _name_of(grid: Grid, index: int) -> str:
    """A made name for an unnamed column; empty for the empty column after a last delimiter."""
    last = index == grid.width - 1
    if last and all(not row.cells[index] for row in grid.table_rows):
        return ""
    return f"column {index + 1}"


def _unnamed(grid: Grid, units: GridRow | None) -> tuple[Column, ...]:
    return tuple(
        Column(_name_of(grid, index), unit_text(units.cells[index]) if units else None)
        for index in range(grid.width)
    )


def _refuse_other_length(grid: Grid, first: int) -> None:
    """The text line right above the numbers is a names row; it must fit."""
    if first == 0:
        return
    row, data = grid.rows[first - 1], grid.rows[first]
    fits = len(row.cells) in (1, grid.width)
    if row.all_text and not fits and row.line == data.line - 1:
        if grid.delimiter == "," and could_be_decimals(grid, first):
            raise refusals.comma_ambiguous(data.line, ",".join(data.cells))
        raise refusals.header_length(row.line, len(row.cells), data.line, grid.width)


def _refuse_duplicates(columns: Sequence[Column], line: int) -> None:
    counts = Counter(column.name.strip() for column in columns)
    repeated = [name for name, count in counts.items() if count > 1]
    if repeated:
        raise refusals.duplicate_names(line, repeated)
