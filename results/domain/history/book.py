"""The tables of a workbook or of a CSV file, cell by cell, and what cannot be read of them."""

from __future__ import annotations

import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from labmatrix.kernel.errors import ShapeError, TooLarge
from labmatrix.matrix.domain.sheet import DAMAGE, check_packed, decoded, text_rows
from results.domain.history.places import SHEETS, Place, Problem

FILE_MAX_BYTES = 20 * 1024 * 1024
ROWS_MAX = 60_000
COLUMNS_MAX = 64
SPECIMENS, EVENTS, RESULTS = TABLES = SHEETS
HELP = "Help"

TOO_LARGE = "The file has {size} bytes; allowed are {allowed}."
NOT_A_BOOK = "The workbook cannot be opened; save it again as .xlsx, or one sheet of it as CSV."
WRONG_KIND = "The file is {name!r}; allowed are .xlsx and .csv."
TOO_LONG = "it lies beyond {rows} rows or {columns} columns; send the years in several files."
FORMULA = (
    "it holds the formula {text!r}; only what was measured or typed counts, so put its value in "
    "its place (copy, then paste as values)."
)
ERROR_VALUE = "it holds the error {text}; put what was meant in its place."
MERGED = (
    "the cells {range} are merged, so only the first of them has a value; take the merge apart "
    "and write the value in every row that it is for."
)
OTHER_SHEET = (
    "a sheet of this name is not known; there are Specimens, Events, Results and Help. Rename it "
    "or take it out of the file."
)
HIDDEN = " It is hidden in the workbook: show it there first."
NO_TABLE = "The file holds none of the sheets Specimens, Events and Results with rows in it."


@dataclass(frozen=True)
class Row:
    """One row of a table: cells by their headings, empty ones left out."""

    place: Place
    cells: Mapping[str, Any]


@dataclass
class Table:
    """One sheet below its header."""

    name: str
    header_row: int
    headings: tuple[str, ...]
    rows: list[Row] = field(default_factory=list)


@dataclass
class Book:
    """What a file holds."""

    tables: dict[str, Table] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)


def book_read(filename: str, content: bytes) -> Book:
    """The tables of a file.

    Args:
        filename: its ending tells the kind; a workbook is known by its first bytes as well.
        content: the whole file, at most 20 MiB.

    Raises:
        TooLarge: ``history.file-too-large``.
        ShapeError: ``history.file-kind``, ``history.file-unreadable`` or ``history.file-empty``.
    """
    if len(content) > FILE_MAX_BYTES:
        words = TOO_LARGE.format(size=len(content), allowed=FILE_MAX_BYTES)
        raise TooLarge("history.file-too-large", words)
    ending = filename.lower().rpartition(".")[2]
    if ending in ("xlsx", "xlsm") or content.startswith(b"PK\x03\x04"):
        book = _workbook(content)
    elif ending in ("csv", "txt", "tsv"):
        book = _text_book(content)
    else:
        raise ShapeError("history.file-kind", WRONG_KIND.format(name=filename[:80]))
    if not any(table.rows for table in book.tables.values()) and not book.problems:
        raise ShapeError("history.file-empty", NO_TABLE)
    return book


def _workbook(content: bytes) -> Book:
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        check_packed(content)
        source = load_workbook(io.BytesIO(content), data_only=False)
    except (InvalidFileException, *DAMAGE) as error:
        raise ShapeError("history.file-unreadable", NOT_A_BOOK, reason=str(error)[:200]) from error
    book = Book()
    for sheet in source.worksheets:
        name = next((t for t in (*TABLES, HELP) if t.lower() == sheet.title.strip().lower()), "")
        if name == HELP:
            continue
        if not name:
            if any(cell is not None for row in sheet.iter_rows(values_only=True) for cell in row):
                place = Place(sheet.title[:40], 1)
                words = OTHER_SHEET if sheet.sheet_state == "visible" else OTHER_SHEET + HIDDEN
                book.problems.append(Problem(place, "history.sheet-unknown", words))
            continue
        _sheet_into(book, name, sheet)
    return book


def _sheet_into(book: Book, name: str, sheet: Any) -> None:
    if sheet.max_row > ROWS_MAX or sheet.max_column > COLUMNS_MAX:
        words = TOO_LONG.format(rows=ROWS_MAX, columns=COLUMNS_MAX)
        book.problems.append(Problem(Place(name, sheet.max_row), "history.too-long", words))
        return
    for merged in sheet.merged_cells.ranges:
        words = MERGED.format(range=merged.coord)
        book.problems.append(Problem(Place(name, merged.min_row), "history.merged", words))
    cells = (
        (number, [_raw(cell) for cell in row]) for number, row in enumerate(sheet.iter_rows(), 1)
    )
    _table_into(book, name, cells)


@dataclass(frozen=True)
class _Refused:
    """A cell whose value does not count, and why."""

    code: str
    words: str


def _raw(cell: Any) -> Any:
    if cell.data_type == "f":
        text = str(getattr(cell.value, "text", cell.value))
        return _Refused("history.formula", FORMULA.format(text=text[:60]))
    if cell.data_type == "e":
        return _Refused("history.error-value", ERROR_VALUE.format(text=cell.value))
    value = cell.value
    return value.strip() or None if isinstance(value, str) else value


def _text_book(content: bytes) -> Book:
    book = Book()
    rows = [(row.number, [c or None for c in row.cells]) for row in text_rows(decoded(content))]
    if len(rows) > ROWS_MAX:
        words = TOO_LONG.format(rows=ROWS_MAX, columns=COLUMNS_MAX)
        book.problems.append(Problem(Place(SPECIMENS, ROWS_MAX), "history.too-long", words))
        return book
    header = next((cells for _, cells in rows if any(cells)), [])
    names = {str(cell).strip().lower() for cell in header if cell}
    name = EVENTS if "event" in names else RESULTS if "result" in names else SPECIMENS
    _table_into(book, name, iter(rows))
    return book


def _table_into(book: Book, name: str, rows: Iterator[tuple[int, list[Any]]]) -> None:
    table: Table | None = None
    for number, cells in rows:
        if all(cell is None for cell in cells):
            continue
        if table is None:
            headings = tuple("" if cell is None else str(cell).strip() for cell in cells)
            table = Table(name, number, headings)
            continue
        place = Place(name, number)
        table.rows.append(Row(place, _row_cells(book, place, table.headings, cells)))
    if table is not None:
        book.tables[name] = table


def _row_cells(
    book: Book, place: Place, headings: tuple[str, ...], cells: list[Any]
) -> dict[str, Any]:
    found = {}
    for position, value in enumerate(cells):
        if value is None:
            continue
        heading = headings[position] if position < len(headings) else ""
        if isinstance(value, _Refused):
            where = place.at(heading or f"no. {position + 1}")
            book.problems.append(Problem(where, value.code, value.words))
        elif not heading:
            words = f"column no. {position + 1} holds {str(value)[:40]!r} and has no heading."
            book.problems.append(Problem(place, "history.column-unnamed", words))
        else:
            found[heading] = value
    return found
