"""The exact path: line by line, with a diagnosis for each line that is not clean."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.cells import (
    OVER_RANGE_FROM,
    is_loose_number,
    is_missing,
    is_over_range,
    split_line,
)
from labmatrix.evidence.reading.column import is_unit_word
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.grid import NUMBER, TEXT, TIME
from labmatrix.evidence.reading.layout import Layout, Piece, decimals_in
from labmatrix.evidence.reading.time_cells import looks_like_time

_BLANKS = " \t\x1a\x0c\ufeff"


@dataclass
class _Rows:
    """Rows as they gather: one list for each column."""

    width: int
    lines: list[int] = field(default_factory=list)
    numbers: list[list[float]] = field(default_factory=list)
    days: dict[int, list[int]] = field(default_factory=dict)

    def as_piece(self) -> Piece:
        table = np.array(self.numbers, dtype=np.float64).reshape(len(self.lines), self.width)
        return Piece(
            [np.ascontiguousarray(table[:, index]) for index in range(self.width)],
            {index: np.array(days, dtype=np.int64) for index, days in self.days.items()},
            np.array(self.lines, dtype=np.int64),
        )


def read_exactly(
    data: bytes, first_line: int, layout: Layout, findings: Findings, *, cut: bool = False
) -> Piece:
    """The rows of some whole lines, each looked at by itself.

    Args:
        data: lines in UTF-8, each ended by a line feed.
        first_line: number of the first line.
        layout: what each column holds.
        findings: takes note of every line that is not clean.
        cut: whether the last line had no line end in the file.

    Raises:
        ShapeError: ``record.header-changed``, ``record.encoding`` or ``record.date-ambiguous``.
    """
    rows = _Rows(len(layout.kinds), days={index: [] for index in layout.time_forms})
    lines = _decoded(data, first_line, findings)
    if cut and _is_cut(lines[-1], layout):
        findings.add(f.CUT_LAST_LINE, [first_line + len(lines) - 1])
        lines.pop()
    for number, line in enumerate(lines, start=first_line):
        if not line.strip(_BLANKS):
            findings.add(f.BLANK, [number])
            continue
        cells = _fitted(line, number, layout, findings)
        if cells is None or not _is_row(cells, number, layout, findings):
            continue
        _take(cells, number, layout, findings, rows)
    return rows.as_piece()


def _decoded(data: bytes, first_line: int, findings: Findings) -> list[str]:
    try:
        return data.decode("utf-8").removesuffix("\n").split("\n")
    except UnicodeDecodeError:
        pass
    lines = []
    for number, raw in enumerate(data.removesuffix(b"\n").split(b"\n"), start=first_line):
        try:
            lines.append(raw.decode("utf-8"))
        except UnicodeDecodeError:
            findings.add(f.ENCODING, [number])
            lines.append(_as_cp1252(raw, number))
    return lines


def _as_cp1252(raw: bytes, number: int) -> str:
    try:
        return raw.decode("cp1252")
    except UnicodeDecodeError as error:
        raise refusals.undecodable(number, "UTF-8 or Windows-1252") from error


def _is_cut(line: str, layout: Layout) -> bool:
    """Whether a last line without a line end was cut while it was written.

    It was when cells are missing, or when its last number has fewer decimals than the fixed
    number that the rows at the head of the file have.
    """
    dialect = layout.dialect
    cells = split_line(line, dialect.delimiter)
    if len(cells) < len(dialect.columns) - dialect.ends_with_delimiter:
        return any(cell.strip(_BLANKS) for cell in cells)
    if dialect.ends_with_delimiter and len(cells) == len(dialect.columns):
        return False
    fixed = layout.last_decimals
    return fixed is not None and decimals_in(cells[len(layout.kinds) - 1], dialect.decimal) < fixed


def _fitted(line: str, number: int, layout: Layout, findings: Findings) -> list[str] | None:
    """The stripped cells of the named columns, or None with a note."""
    cells = [cell.strip() for cell in split_line(line, layout.dialect.delimiter)]
    width = len(layout.kinds)
    if len(cells) > width and not any(cells[width:]):
        if not (layout.dialect.ends_with_delimiter and len(cells) == width + 1):
            findings.add(f.SURPLUS, [number])
        cells = cells[:width]
    if len(cells) == width:
        return cells
    numbers = any(is_loose_number(cell) or looks_like_time(cell) for cell in cells)
    findings.add(f.ROW_LENGTH if numbers and len(cells) > 1 else f.TEXT_LINE, [number])
    return None


def _is_row(cells: list[str], number: int, layout: Layout, findings: Findings) -> bool:
    """Whether cells are a row of values; a header or text in its place is noted."""
    if any(is_loose_number(cell) or looks_like_time(cell) for cell in cells):
        if not _is_remark(cells, layout):
            return True
        findings.add(f.TEXT_LINE, [number])
        return False
    text = [c for c in cells if not is_missing(c) and not is_over_range(c)]
    if not text:
        return True
    units = sum(is_unit_word(cell) for cell in cells if cell)
    shared = len({cell.casefold() for cell in text} & {name.casefold() for name in layout.names})
    if tuple(cells) == layout.names or 2 * units > len(text):
        findings.add(f.HEADER_REPEATED, [number])
    elif 2 * shared >= len(text) and layout.dialect.names_line is not None:
        raise refusals.header_changed(number, layout.dialect.delimiter.join(cells))
    elif all(kind == TEXT for kind, cell in zip(layout.kinds, cells, strict=True) if cell):
        return True
    else:
        findings.add(f.TEXT_LINE, [number])
    return False


def _is_remark(cells: list[str], layout: Layout) -> bool:
    """Whether cells with a number among them are a remark, such as ``Max;72.5`` under a table or
    ``Sample rate;50;Hz`` above a repeated header: words in the first column of numbers, or in at
    least half of these columns. Its number is no sample."""
    words = [
        not (is_loose_number(c) or looks_like_time(c) or is_missing(c) or is_over_range(c))
        for c, kind in zip(cells, layout.kinds, strict=True)
        if kind != TEXT
    ]
    return words[0] or 2 * sum(words) >= len(words) > 2


def _take(cells: list[str], number: int, layout: Layout, findings: Findings, rows: _Rows) -> None:
    values = []
    for index, (cell, kind) in enumerate(zip(cells, layout.kinds, strict=True)):
        name = layout.dialect.columns[index].name
        if kind == TIME:
            day, seconds = _time(cell, index, number, layout, findings)
            rows.days[index].append(day)
            values.append(seconds)
        elif kind == NUMBER:
            values.append(_number(cell, name, number, layout, findings))
        else:
            values.append(math.nan)
    rows.lines.append(number)
    rows.numbers.append(values)


def _time(
    cell: str, index: int, number: int, layout: Layout, findings: Findings
) -> tuple[int, float]:
    form = layout.time_forms[index]
    parsed = form.parse(cell)
    if parsed is None:
        name = layout.dialect.columns[index].name
        if not form.proved and looks_like_time(cell):
            raise refusals.date_ambiguous(name, cell)
        findings.add(f.ELAPSED if is_missing(cell) else f.TEXT_CELL, [number], name)
        return 0, math.nan
    return parsed


def _number(cell: str, name: str, number: int, layout: Layout, findings: Findings) -> float:
    value = layout.dialect.form.number(cell)
    if value is not None and abs(value) < OVER_RANGE_FROM:
        return value
    if is_missing(cell):
        findings.add(f.MISSING, [number], name)
    elif value is not None or is_over_range(cell):
        findings.add(f.OVER_RANGE, [number], name)
    else:
        findings.add(f.TEXT_CELL, [number], name)
    return math.nan
