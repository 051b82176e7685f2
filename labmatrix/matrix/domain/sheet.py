"""Rows of a delimited text or of a workbook, each cell as text, each row with its number.

Bytes come in and rows go out; nothing is guessed about their meaning here.
"""

from __future__ import annotations

import csv
import io
import struct
import zipfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from labmatrix.kernel.errors import ShapeError, TooLarge
from labmatrix.matrix.domain.level_text import number_text

FILE_MAX_BYTES = 5 * 1024 * 1024
UNPACKED_MAX_BYTES = 100 * 1024 * 1024
ROWS_MAX = 5000
COLUMNS_MAX = 64
DELIMITERS = ",;\t"
_FORMULA_UNKNOWN = "#FORMULA"
# What the zip and workbook readers raise on bytes that are no workbook; ParseError of the XML is
# a SyntaxError, an encrypted part a RuntimeError, an unknown packing a NotImplementedError.
DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    ArithmeticError,
    AttributeError,
    EOFError,
    LookupError,
    OSError,
    RuntimeError,
    SyntaxError,
    TypeError,
    ValueError,
)


@dataclass(frozen=True)
class SheetRow:
    """One row: its number in the file, as an editor or a workbook shows it, and its cells."""

    number: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """A header and the rows below it; empty rows are left out."""

    header: SheetRow
    rows: tuple[SheetRow, ...]


def read_sheet(filename: str, content: bytes) -> Sheet:
    """The rows of a CSV (comma, semicolon or tab) or of the first sheet of an XLSX workbook.

    Args:
        filename: only its ending counts, and a workbook is known by its first bytes as well.
        content: the whole file, at most 5 MiB.

    Raises:
        TooLarge: ``matrix.file-too-large``.
        ShapeError: ``matrix.file-unreadable``, ``matrix.file-empty`` or ``matrix.file-kind``.
    """
    check_size(len(content))
    ending = filename.lower().rpartition(".")[2]
    if ending in ("xlsx", "xlsm") or content.startswith(b"PK\x03\x04"):
        rows = _workbook_rows(content)
    elif ending in ("csv", "txt", "tsv"):
        rows = text_rows(decoded(content))
    else:
        raise ShapeError(
            "matrix.file-kind",
            f"The file is {filename!r}; allowed are .csv, .xlsx and .json.",
            filename=filename,
        )
    kept = [row for row in _limited(rows) if any(row.cells)]
    if not kept:
        raise ShapeError(
            "matrix.file-empty", "The file holds no rows; the first one is the header."
        )
    return Sheet(header=kept[0], rows=tuple(kept[1:]))


def check_size(size: int) -> None:
    """Refuse more bytes than a matrix can need.

    Raises:
        TooLarge: ``matrix.file-too-large``.
    """
    if size > FILE_MAX_BYTES:
        raise TooLarge(
            "matrix.file-too-large",
            f"The file has {size} bytes; allowed are {FILE_MAX_BYTES}.",
            bytes=size,
            allowed=FILE_MAX_BYTES,
        )


def _limited(rows: Iterator[SheetRow]) -> Iterator[SheetRow]:
    for count, row in enumerate(rows):
        if count > ROWS_MAX or len(row.cells) > COLUMNS_MAX:
            raise ShapeError(
                "matrix.file-unreadable",
                f"Row {row.number} lies beyond {ROWS_MAX} rows or {COLUMNS_MAX} columns, which is "
                "more than a matrix can need.",
                row=row.number,
            )
        yield row


def decoded(content: bytes) -> str:
    """The text of a file: UTF-8 or UTF-16 by their marks, else UTF-8, else Windows-1252."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            return content.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise ShapeError(
        "matrix.file-unreadable",
        "The file is no text in UTF-8, UTF-16 or Windows-1252; save it as CSV in UTF-8.",
    )


def text_rows(text: str) -> Iterator[SheetRow]:
    """The rows of delimited text, apart by what its first line holds most of.

    Raises:
        ShapeError: ``matrix.file-unreadable`` at a row that cannot be taken apart.
    """
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(DELIMITERS, key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    number = 1
    try:
        for cells in reader:
            yield SheetRow(number, tuple(cell.strip() for cell in cells))
            number = reader.line_num + 1
    except csv.Error as error:
        raise ShapeError(
            "matrix.file-unreadable",
            f"Row {number} cannot be taken apart ({error}); a quoted cell needs both its quotes.",
            row=number,
        ) from error


def _workbook_rows(content: bytes) -> Iterator[SheetRow]:
    """Rows of the first sheet; a formula counts by the value that was saved with it."""
    values = _first_sheet(content, data_only=True)
    formulas = _first_sheet(content, data_only=False)
    for number, (row, written) in enumerate(zip(values, formulas, strict=True), start=1):
        cells = [_cell_text(v, w) for v, w in zip(row, written, strict=True)]
        while cells and not cells[-1]:
            cells.pop()
        yield SheetRow(number, tuple(cells))


def _first_sheet(content: bytes, *, data_only: bool) -> list[tuple[Any, ...]]:
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        check_packed(content)
        book = load_workbook(io.BytesIO(content), data_only=data_only, read_only=True)
        sheet = book.worksheets[0]
        return list(
            sheet.iter_rows(max_row=ROWS_MAX + 2, max_col=COLUMNS_MAX + 1, values_only=True)
        )
    except (InvalidFileException, *DAMAGE) as error:
        raise ShapeError(
            "matrix.file-unreadable",
            "The workbook cannot be opened; save it again as .xlsx, or as CSV.",
            reason=str(error)[:200],
        ) from error


def check_packed(content: bytes) -> None:
    """Refuse a workbook that unpacks to too much, or whose parts are damaged."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        unpacked = sum(part.file_size for part in packed.infolist())
        if unpacked > UNPACKED_MAX_BYTES:
            raise TooLarge(
                "matrix.file-too-large",
                f"The workbook unpacks to {unpacked} bytes; allowed are {UNPACKED_MAX_BYTES}.",
                bytes=unpacked,
                allowed=UNPACKED_MAX_BYTES,
            )
        damaged = packed.testzip()
    if damaged is not None:
        raise zipfile.BadZipFile(f"the part {damaged!r} is damaged")


def _cell_text(value: Any, written: Any) -> str:
    if value is None:
        return _FORMULA_UNKNOWN if isinstance(written, str) and written.startswith("=") else ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int | float):
        return number_text(value) if abs(value) < 1e15 else str(value)
    if isinstance(value, datetime | date):
        return value.isoformat()
    return str(value).strip()
