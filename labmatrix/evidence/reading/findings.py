"""What reading met: counted by kind and column, the first line numbers kept, told in sentences."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading.table import ReadingWarning

# How many line numbers a warning lists; the count says the rest.
LINES_KEPT = 5

ROW_LENGTH, TEXT_LINE, TEXT_CELL = "row-length", "text-line", "text-cell"
SURPLUS, ENDS_WITH_DELIMITER, BLANK = "surplus-delimiter", "ends-with-delimiter", "blank-line"
TEXT_COLUMN, EMPTY_COLUMN, MISSING, OVER_RANGE = (
    "text-column",
    "empty-column",
    "missing-value",
    "over-range",
)
HEADER_REPEATED, CUT_LAST_LINE, ENCODING = "header-repeated", "cut-last-line", "encoding-changed"
NO_NAMES, DECIMAL_BY_DELIMITER = "no-names", "decimal-by-delimiter"
BACKWARD, DUPLICATE, GAP, MIDNIGHT = "time-backward", "time-duplicate", "time-gap", "midnight"
ELAPSED, CLOCK_MINUTES = "time-missing", "clock-without-seconds"

_SENTENCES = MappingProxyType(
    {
        ROW_LENGTH: "{rows} another number of cells than the table has columns and left out: "
        "{where}.",
        TEXT_LINE: "{rows} text where numbers belong and left out: {where}.",
        TEXT_CELL: "Column {column} holds text instead of a number; the value counts as missing: "
        "{where}.",
        SURPLUS: "{rows} a delimiter too many at the end; the values are kept: {where}.",
        ENDS_WITH_DELIMITER: "Every row ends with a delimiter; the empty column behind it is not "
        "a column.",
        BLANK: "{rows} nothing and passed over: {where}.",
        TEXT_COLUMN: "Column {column} holds text; it has no numbers to read.",
        EMPTY_COLUMN: "Column {column} has no value in any row.",
        MISSING: "Column {column} has no value: {where}.",
        OVER_RANGE: "Column {column} is over range or faulty and the value counts as missing: "
        "{where}.",
        HEADER_REPEATED: "The header is repeated in the middle of the file and passed over: "
        "{where}.",
        CUT_LAST_LINE: "The last line is cut off and left out: {where}.",
        ENCODING: "{rows} characters that are not in the file's encoding, read as Windows-1252: "
        "{where}.",
        NO_NAMES: "No line names the columns; they are called by their order.",
        DECIMAL_BY_DELIMITER: "Only the semicolons say that the comma is the decimal mark and not "
        "a thousands mark; check one value.",
        BACKWARD: "Time in column {column} runs backward: {where}.",
        DUPLICATE: "Time in column {column} repeats that of the row before: {where}.",
        GAP: "Time in column {column} jumps ahead by more than ten usual steps: {where}.",
        MIDNIGHT: "The clock in column {column} passes midnight; a day is added from there: "
        "{where}.",
        ELAPSED: "Time is missing in column {column}: {where}.",
        CLOCK_MINUTES: "The clock in column {column} has no seconds; it is read as hours and "
        "minutes.",
    }
)
_ROWS = MappingProxyType(
    {
        ROW_LENGTH: ("One row has", "{count} rows have", "is", "are"),
        TEXT_LINE: ("One line holds", "{count} lines hold", "is", "are"),
        SURPLUS: ("One row has", "{count} rows have", "", ""),
        BLANK: ("One line holds", "{count} lines hold", "is", "are"),
        ENCODING: ("One line has", "{count} lines have", "", ""),
    }
)


class Findings:
    """Collects problems while a file is read; memory does not grow with their number."""

    def __init__(self) -> None:
        self._first: dict[tuple[str, str], list[int]] = {}
        self._counts: dict[tuple[str, str], int] = {}

    def add(self, code: str, lines: Iterable[int] | NDArray[np.int64], column: str = "") -> None:
        """Note lines (an empty list for the whole file or column) under a code."""
        found = np.asarray(list(lines) if not isinstance(lines, np.ndarray) else lines)
        key = (code, column)
        first = self._first.setdefault(key, [])
        self._counts[key] = self._counts.get(key, 0) + len(found)
        first.extend(int(line) for line in found[: LINES_KEPT - len(first)])

    def add_counted(self, code: str, lines: Sequence[int], count: int, column: str = "") -> None:
        """Note under a code that ``count`` lines were met, of which the first are given."""
        key = (code, column)
        first = self._first.setdefault(key, [])
        first.extend(lines[: LINES_KEPT - len(first)])
        self._counts[key] = self._counts.get(key, 0) + count

    def state(self) -> list[list[Any]]:
        """Everything noted, JSON-ready; ``from_state`` reads it."""
        return [[*key, list(lines), self._counts[key]] for key, lines in self._first.items()]

    @classmethod
    def from_state(cls, state: Iterable[Sequence[Any]]) -> Findings:
        """The findings of a ``state``."""
        findings = cls()
        for code, column, lines, count in state:
            findings.add_counted(str(code), [int(line) for line in lines], int(count), str(column))
        return findings

    def count(self, code: str) -> int:
        """How many lines were noted under a code, over all columns."""
        return sum(count for (found, _), count in self._counts.items() if found == code)

    def most(self, code: str) -> int:
        """How many lines were noted under a code in the column that has most of them."""
        return max(
            (count for (found, _), count in self._counts.items() if found == code), default=0
        )

    def first_lines(self, *codes: str) -> list[int]:
        """The first lines noted under any of the codes, in order."""
        lines = [
            line for (code, _), found in self._first.items() if code in codes for line in found
        ]
        return sorted(lines)[:LINES_KEPT]

    def warnings(self) -> tuple[ReadingWarning, ...]:
        """One warning for each kind and column, in the order in which they were met."""
        return tuple(
            ReadingWarning(
                f"record.{code}",
                _sentence(code, column, lines, self._counts[code, column]),
                tuple(lines),
                self._counts[code, column],
            )
            for (code, column), lines in self._first.items()
            if not (code == MISSING and (EMPTY_COLUMN, column) in self._first)
        )


def where(lines: list[int], count: int) -> str:
    """``line 7``, ``lines 7 and 9``, ``lines 7, 8, 9, 12, 15 and 1203 more``."""
    if count == 1 and len(lines) == 1:
        return f"line {lines[0]}"
    if count <= len(lines):
        return f"lines {', '.join(map(str, lines[:-1]))} and {lines[-1]}"
    return f"lines {', '.join(map(str, lines))} and {count - len(lines)} more"


def _sentence(code: str, column: str, lines: list[int], count: int) -> str:
    template = _SENTENCES[code]
    rows = ""
    if code in _ROWS:
        one, many, singular, plural = _ROWS[code]
        rows = one if count == 1 else many.format(count=count)
        template = template.replace(" and left", f" and {singular if count == 1 else plural} left")
        template = template.replace(
            " and passed", f" and {singular if count == 1 else plural} passed"
        )
    place = where(lines, count) if lines else ""
    return template.format(column=repr(column.strip()), where=place, rows=rows)
