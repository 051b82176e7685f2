"""Where something stands in a workbook, and what is wrong there."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from labmatrix.kernel.errors import ShapeError

SHEETS = ("Specimens", "Events", "Results")
REFUSED = (
    "{count} {cells} of the workbook cannot be taken, so nothing was; put right what is said of "
    "each and send the file again. The first: {first}"
)


@dataclass(frozen=True, order=True)
class Place:
    """A cell: the sheet's name, the row as the workbook counts it, the heading of its column."""

    sheet: str
    row: int
    column: str = ""

    def __str__(self) -> str:
        column = f", column {self.column}" if self.column else ""
        return f"Sheet {self.sheet}, row {self.row}{column}"

    def at(self, column: str) -> Place:
        """Another cell of the same row."""
        return Place(self.sheet, self.row, column)


@dataclass(frozen=True, order=True)
class Problem:
    """What cannot be taken, at its place, as a sentence of its own."""

    place: Place
    code: str
    words: str

    @property
    def sentence(self) -> str:
        """Place and words."""
        return f"{self.place}: {self.words}"

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready."""
        return {
            "sheet": self.place.sheet,
            "row": self.place.row,
            "column": self.place.column,
            "code": self.code,
            "words": self.words,
            "message": self.sentence,
        }


def _in_the_book(problem: Problem) -> tuple[int, Problem]:
    """Sheets in the order in which they are filled in; those that are not known come first."""
    sheet = problem.place.sheet
    return (SHEETS.index(sheet) if sheet in SHEETS else -1), problem


class CellWrong(Exception):
    """A cell that cannot be read: its code and its words, without the place."""

    def __init__(self, code: str, words: str) -> None:
        super().__init__(words)
        self.code, self.words = code, words


class HistoryRefused(ShapeError):
    """``history.rows``: a workbook that cannot be taken, with everything that is wrong with it."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=_in_the_book))
        count = len(self.problems)
        super().__init__(
            "history.rows",
            REFUSED.format(
                count=count,
                cells="cell" if count == 1 else "cells",
                first=self.problems[0].sentence,
            ),
            rows=[problem.as_dict() for problem in self.problems[:500]],
            count=count,
        )


def rows_said(rows: Iterable[int]) -> str:
    """Numbers of rows as a person reads them: ``3, 5, 9 to 21``."""
    runs: list[list[int]] = []
    for row in sorted(set(rows)):
        if runs and row == runs[-1][1] + 1:
            runs[-1][1] = row
        else:
            runs.append([row, row])
    return ", ".join(
        str(first) if first == last else f"{first}{' to ' if last > first + 1 else ', '}{last}"
        for first, last in runs
    )
