"""How one file writes its table, and how that is found from the file's head."""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any, BinaryIO

from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.cells import NumberForm
from labmatrix.evidence.reading.column import Column, is_unit_word
from labmatrix.evidence.reading.decimals import decide_form
from labmatrix.evidence.reading.file_kind import ENCODINGS, encoding_of, refuse_foreign
from labmatrix.evidence.reading.grid import (
    DELIMITERS,
    NUMBER,
    Grid,
    best_grid,
    column_kinds,
    could_be_decimals,
    first_data_row,
)
from labmatrix.evidence.reading.header import Header, read_header
from labmatrix.kernel.errors import ShapeError

__all__ = ["HEAD_BYTES", "LINES_LOOKED_AT", "Column", "Dialect", "sniff", "sniff_head"]

# The dialect is found from this many bytes at the head of the file.
HEAD_BYTES = 1 << 18
LINES_LOOKED_AT = 600
_OVERRIDES = ("encoding", "delimiter", "decimal", "thousands", "first_data_line")


@dataclass(frozen=True)
class Dialect:
    """How one file writes its table. Line numbers count from 1.

    Attributes:
        encoding: utf-8, utf-8-sig, utf-16, utf-16-le, utf-16-be or cp1252.
        delimiter: what stands between two cells.
        decimal: decimal mark.
        thousands: thousands mark, or None.
        header_line_count: number of lines above the first row of numbers.
        columns: name and unit of each column as the header writes them. A last column with an
            empty name says that every row ends with a delimiter.
        units_line: the line that holds the units, or None.
        first_data_line: the line of the first row of numbers.
        names_line: the line that names the columns, or None.
        decided_by_delimiter: a number whose decimal mark only the semicolon decided, or None.
    """

    encoding: str
    delimiter: str
    decimal: str
    thousands: str | None
    header_line_count: int
    columns: tuple[Column, ...]
    units_line: int | None
    first_data_line: int
    names_line: int | None = None
    decided_by_delimiter: str | None = None

    @property
    def form(self) -> NumberForm:
        """How numbers are written."""
        return NumberForm(self.decimal, self.thousands)

    @property
    def ends_with_delimiter(self) -> bool:
        """Whether every row ends with a delimiter, behind which there is nothing."""
        return self.columns[-1].name == ""

    @property
    def named_columns(self) -> tuple[Column, ...]:
        """The columns of the table, without the empty one behind a last delimiter."""
        return self.columns[:-1] if self.ends_with_delimiter else self.columns

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready form; ``from_dict`` is its inverse."""
        return asdict(self) | {"columns": [asdict(column) for column in self.columns]}

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Dialect:
        """A dialect from its JSON form.

        Raises:
            ShapeError: ``record.dialect-malformed``.
        """
        try:
            columns = tuple(Column(str(c["name"]), c.get("unit")) for c in data["columns"])
            dialect = cls(**{**data, "columns": columns})
        except (KeyError, TypeError, AttributeError) as error:
            raise refusals.refusal(
                "dialect-malformed",
                f"The saved dialect cannot be read ({error}); let the file be looked at again.",
            ) from error
        _check(dialect)
        return dialect


def _check(dialect: Dialect) -> None:
    problems = {
        "encoding": dialect.encoding in ENCODINGS,
        "delimiter": dialect.delimiter in DELIMITERS,
        "decimal": dialect.decimal in (".", ","),
        "thousands": dialect.thousands != dialect.decimal,
        "columns": len(dialect.columns) > 1,
        "first_data_line": isinstance(dialect.first_data_line, int) and dialect.first_data_line > 0,
    }
    wrong = [name for name, fine in problems.items() if not fine]
    if wrong:
        raise refusals.refusal(
            "dialect-malformed",
            f"The dialect's {', '.join(wrong)} cannot be used; allowed are the encodings "
            f"{', '.join(ENCODINGS)}, semicolon, tab, bar or comma between the columns, dot or "
            "comma before the decimals, another mark for thousands, and at least two columns.",
            wrong=wrong,
        )


def sniff(stream: BinaryIO, overrides: Mapping[str, Any] | None = None) -> Dialect:
    """Find the dialect of a file from its head.

    A stream that can seek is left where it was found.

    Args:
        stream: the file's bytes.
        overrides: what a person states instead of the file's evidence: any of encoding,
            delimiter, decimal, thousands, first_data_line.

    Raises:
        ShapeError: ``record.…``, when the file is not a table of numbers or leaves two readings.
    """
    start = stream.tell() if stream.seekable() else None
    head = stream.read(HEAD_BYTES + 1)
    if start is not None:
        stream.seek(start)
    return sniff_head(head[:HEAD_BYTES], complete=len(head) <= HEAD_BYTES, overrides=overrides)


def sniff_head(
    head: bytes, *, complete: bool, overrides: Mapping[str, Any] | None = None
) -> Dialect:
    """Find the dialect from the first bytes of a file.

    Args:
        head: the first bytes.
        complete: whether they are the whole file.
        overrides: as in ``sniff``.

    Raises:
        ShapeError: as ``sniff``.
    """
    stated = checked_overrides(overrides)
    lines = head_lines(head, complete=complete, encoding=stated.get("encoding"))
    delimiters = [stated["delimiter"]] if "delimiter" in stated else list(DELIMITERS)
    numbered = [(n, text) for n, text in lines.text.items() if text.strip()]
    grid = best_grid(numbered[:LINES_LOOKED_AT], delimiters)
    if grid.width < 2:
        raise _no_table(numbered)
    kinds = column_kinds(grid.table_rows, grid.width)
    first = _first_row(grid, kinds, stated)
    header = read_header(grid, first, lines.text)
    if grid.delimiter == "," and "delimiter" not in stated:
        _prove_comma(grid, first, header)
    form, by_delimiter = _number_form(grid, first, kinds, stated)
    line = grid.rows[first].line
    return Dialect(
        encoding=lines.encoding,
        delimiter=grid.delimiter,
        decimal=form.decimal,
        thousands=form.thousands,
        header_line_count=line - 1,
        columns=header.columns,
        units_line=header.units_line,
        first_data_line=line,
        names_line=header.names_line,
        decided_by_delimiter=by_delimiter,
    )


@dataclass(frozen=True)
class HeadLines:
    """The whole lines of a head by line number, and the encoding that gave them."""

    encoding: str
    text: dict[int, str]


def head_lines(head: bytes, *, complete: bool, encoding: str | None = None) -> HeadLines:
    """The head of a file as numbered lines; a last line that the head cuts is left to the reader.

    Raises:
        ShapeError: ``record.…``, when the bytes are not text.
    """
    refuse_foreign(head)
    found = encoding or encoding_of(head, complete=complete)
    decoder = codecs.getincrementaldecoder(found)(errors="replace")
    text = decoder.decode(head, final=complete)
    text = text.replace("\r\r\n", "\n").replace("\r\n", "\n").replace("\r", "\n")
    if "\x00" in text:
        raise refusals.nul_bytes(text[: text.index("\x00")].count("\n") + 1)
    lines = text.removeprefix("\ufeff").split("\n")
    if not complete:
        if len(lines) < 2:
            raise refusals.line_too_long(1, len(head))
        lines.pop()
    return HeadLines(found, dict(enumerate(lines, start=1)))


def checked_overrides(overrides: Mapping[str, Any] | None) -> dict[str, Any]:
    """What a person states about a file, refused where it cannot be used.

    Raises:
        ShapeError: ``record.override``.
    """
    stated = dict(overrides or {})
    unknown = sorted(set(stated) - set(_OVERRIDES))
    allowed = {
        "encoding": ENCODINGS,
        "delimiter": DELIMITERS,
        "decimal": (".", ","),
    }
    wrong = [name for name, choice in allowed.items() if stated.get(name, choice[0]) not in choice]
    line = stated.get("first_data_line", 1)
    if not isinstance(line, int) or line < 1:
        wrong.append("first_data_line")
    if unknown or wrong:
        raise refusals.refusal(
            "override",
            f"{', '.join(unknown + wrong)} cannot be stated so; allowed are encoding "
            f"({', '.join(ENCODINGS)}), delimiter (semicolon, tab, bar, comma), decimal (dot, "
            "comma), thousands and first_data_line (a line number).",
            unknown=unknown,
            wrong=wrong,
        )
    return stated


def with_overrides(dialect: Dialect, overrides: Mapping[str, Any] | None) -> Dialect:
    """A saved dialect with what a person states instead.

    Raises:
        ShapeError: ``record.override`` or ``record.dialect-malformed``.
    """
    stated = checked_overrides(overrides)
    if "first_data_line" in stated:
        stated["header_line_count"] = stated["first_data_line"] - 1
    changed = replace(dialect, **stated)
    _check(changed)
    return changed


def _no_table(lines: Sequence[tuple[int, str]]) -> ShapeError:
    form = NumberForm()
    for number, text in lines:
        if form.fits(text.strip()) or NumberForm(",").fits(text.strip()):
            return refusals.single_column(number, text.strip())
        cells = text.split()
        if len(cells) > 1 and all(form.fits(c) or NumberForm(",").fits(c) for c in cells):
            return refusals.blanks_between(number, text.strip())
    return refusals.no_numeric_rows(len(lines))


def _first_row(grid: Grid, kinds: Sequence[str], stated: Mapping[str, Any]) -> int:
    if "first_data_line" in stated:
        rows = [i for i, row in enumerate(grid.rows) if row.line >= stated["first_data_line"]]
        first = next((i for i in rows if len(grid.rows[i].cells) == grid.width), None)
    else:
        first = first_data_row(grid, kinds)
    if first is None:
        raise refusals.no_numeric_rows(len(grid.rows))
    return first


def _number_form(
    grid: Grid, first: int, kinds: Sequence[str], stated: Mapping[str, Any]
) -> tuple[NumberForm, str | None]:
    if "decimal" in stated:
        return NumberForm(stated["decimal"], stated.get("thousands")), None
    cells = [
        row.cells[index].replace("−", "-")
        for row in grid.rows[first:]
        if len(row.cells) == grid.width
        for index, kind in enumerate(kinds)
        if kind == NUMBER and row.kinds[index] == NUMBER
    ]
    return decide_form(cells, grid.delimiter)


def _prove_comma(grid: Grid, first: int, header: Header) -> None:
    """A comma between digits may be a decimal mark; ask the file for proof that it is not.

    Proof is any cell that no number could go on with, or one name for each column, none of which
    is a bare unit ("Load, kN").
    """
    named = header.names_line is not None
    if named and not any(is_unit_word(column.name) for column in header.columns[1:]):
        return
    if could_be_decimals(grid, first):
        row = grid.rows[first]
        raise refusals.comma_ambiguous(row.line, ",".join(row.cells))
