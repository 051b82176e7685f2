"""The sentences with which a file is refused. One place, so that page, API and tests agree."""

from __future__ import annotations

from typing import Any

from labmatrix.kernel.errors import ShapeError

READABLE = (
    "delimited text (semicolon, tab, comma or bar between the columns, any number of header "
    "lines) or Parquet"
)


def refusal(code: str, sentence: str, **facts: Any) -> ShapeError:
    """A refusal of a file: the code becomes ``record.<code>``."""
    return ShapeError(f"record.{code}", sentence, **facts)


def empty_file() -> ShapeError:
    """Nothing in it."""
    return refusal("empty", f"The file is empty; allowed is {READABLE}.")


def foreign_kind(kind: str, advice: str) -> ShapeError:
    """A file of another kind that was dropped by mistake."""
    return refusal(
        "foreign-kind",
        f"The file is {kind}, not a table of measurements. {advice} Allowed is {READABLE}.",
        kind=kind,
    )


def nul_bytes(line: int | None) -> ShapeError:
    """Bytes of value zero inside text."""
    where = "The file" if line is None else f"Line {line}"
    return refusal(
        "nul-bytes",
        f"{where} holds NUL bytes, as a file does that was cut off by a power failure or is not "
        f"text. Copy it again from the logger; allowed is {READABLE}.",
        line=line,
    )


def no_numeric_rows(lines: int) -> ShapeError:
    """No line that holds numbers in columns."""
    return refusal(
        "no-numeric-rows",
        f"None of the first {lines} lines holds numbers in two or more columns; allowed is "
        f"{READABLE}.",
        lines=lines,
    )


def single_column(line: int, text: str) -> ShapeError:
    """Numbers, but one to a line."""
    return refusal(
        "single-column",
        f"Line {line} ({shown(text)}) holds one column of numbers; a record needs at least two, "
        "such as load and deflection, with a semicolon, tab, comma or bar between them.",
        line=line,
    )


def blanks_between(line: int, text: str) -> ShapeError:
    """Columns aligned with blanks."""
    return refusal(
        "blanks-between",
        f"In line {line} ({shown(text)}) only blanks stand between the numbers; a missing value "
        "could not be told from a wide gap. Export with a semicolon, tab, comma or bar between "
        "the columns.",
        line=line,
    )


def comma_ambiguous(line: int, text: str) -> ShapeError:
    """A comma that may be delimiter or decimal mark."""
    return refusal(
        "comma-ambiguous",
        f"In line {line} ({shown(text)}) a comma may stand between two columns or before the "
        "decimals, and nothing in the file decides it. Export with semicolons or tabs between "
        "the columns, or with a names row that has one name for each column, or state delimiter "
        "and decimal mark.",
        line=line,
    )


def decimal_ambiguous(example: str) -> ShapeError:
    """A mark that may be decimal or thousands."""
    return refusal(
        "decimal-ambiguous",
        f"{shown(example)} may be a number with three decimals or one with thousands marks, and "
        "nothing in the file decides it. State the decimal mark, or export without thousands "
        "marks.",
        example=example,
    )


def decimal_mixed(one: str, other: str) -> ShapeError:
    """Numbers of two kinds in one file."""
    return refusal(
        "decimal-mixed",
        f"The file writes numbers in two ways, such as {shown(one)} and {shown(other)}; allowed "
        "is one decimal mark for the whole file.",
        one=one,
        other=other,
    )


def header_length(names_line: int, names: int, data_line: int, cells: int) -> ShapeError:
    """A names row that does not fit the rows below."""
    return refusal(
        "header-length",
        f"Line {names_line} names {names} columns and line {data_line} holds {cells}; allowed is "
        "one name for each column.",
        names_line=names_line,
        names=names,
        data_line=data_line,
        cells=cells,
    )


def duplicate_names(line: int, names: list[str]) -> ShapeError:
    """Two columns with one name."""
    return refusal(
        "duplicate-names",
        f"Line {line} uses the name {', '.join(repr(name) for name in names)} for more than one "
        "column, so that a channel map could not tell them apart; allowed is each name once.",
        line=line,
        names=names,
    )


def header_changed(line: int, text: str) -> ShapeError:
    """A second names row with other columns."""
    return refusal(
        "header-changed",
        f"Line {line} ({shown(text)}) names other columns than the head of the file, so the "
        "numbers below mean something else; split the file there.",
        line=line,
    )


def too_many_bad_rows(bad: int, rows: int, lines: list[int], share: float) -> ShapeError:
    """More rows cannot be read than a record may lose."""
    return refusal(
        "too-many-bad-rows",
        f"{bad} of {rows} rows cannot be read (the first in line {lines[0]}), which is "
        f"{100 * bad / rows:.1f} %; allowed is at most {100 * share:g} %.",
        bad=bad,
        rows=rows,
        lines=lines,
        allowed_share=share,
    )


def other_columns(line: int, found: list[str], expected: list[str]) -> ShapeError:
    """A saved dialect that belongs to a file with other columns."""
    return refusal(
        "other-columns",
        f"Line {line} names {', '.join(found) or 'nothing'}, and the saved way to read this kind "
        f"of file expects {', '.join(expected)}; let the file be looked at again.",
        line=line,
        found=found,
        expected=expected,
    )


def undecodable(line: int, encoding: str) -> ShapeError:
    """Bytes that are no characters."""
    return refusal(
        "encoding",
        f"Line {line} holds bytes that are no characters in {encoding}; allowed are UTF-8, "
        "UTF-16 and Windows-1252 text.",
        line=line,
        encoding=encoding,
    )


def line_too_long(line: int, limit: int) -> ShapeError:
    """A line without an end."""
    return refusal(
        "line-too-long",
        f"Line {line} is longer than {limit} bytes; a table of measurements has short lines. "
        f"Allowed is {READABLE}.",
        line=line,
        limit=limit,
    )


def date_ambiguous(column: str, example: str) -> ShapeError:
    """A date that may be day first or month first."""
    return refusal(
        "date-ambiguous",
        f"The dates of column {column.strip()!r}, such as {example}, may be day first or month "
        "first, and nothing in the file decides it; write them as 2026-03-31.",
        column=column,
        example=example,
    )


def shown(text: str) -> str:
    """A piece of the file as it stands in a sentence: quoted, at most 60 characters."""
    short = text if len(text) <= 60 else text[:57] + "…"
    return repr(short)
