"""What reading gives: columns of numbers with the line of each row, and what was met on the way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading.column import Column, bare_name, plain_name


@dataclass(frozen=True)
class ReadingWarning:
    """One kind of problem in a file.

    Attributes:
        code: stable dotted name, ``record.…``.
        message: the sentence, with the first few line numbers and the count.
        lines: the first line numbers, at most ``findings.LINES_KEPT``.
        count: how many lines there are in all (0: the whole file or column).
    """

    code: str
    message: str
    lines: tuple[int, ...] = ()
    count: int = 0

    def as_dict(self) -> dict[str, object]:
        """JSON-ready form."""
        return {
            "code": self.code,
            "message": self.message,
            "lines": list(self.lines),
            "count": self.count,
        }


def _none() -> Mapping[str, str]:
    return MappingProxyType({})


@dataclass(frozen=True)
class TableHead:
    """What is known of a table before its rows are read.

    Attributes:
        columns: name and unit of each column, in the order of the file.
        clocks: names of the columns that are written as clock times or dates.
    """

    columns: tuple[Column, ...]
    clocks: tuple[str, ...] = ()

    def find(self, name: str) -> Column | None:
        """The column of this name, white space at the ends aside; without its unit if unique."""
        wanted = plain_name(name)
        for column in self.columns:
            if plain_name(column.name) == wanted:
                return column
        bare = [column for column in self.columns if bare_name(column.name) == wanted]
        return bare[0] if len(bare) == 1 else None


@dataclass(frozen=True, eq=False)
class RawTable:
    """A file as columns of float64.

    Attributes:
        columns: name and unit of each column, in the order of the file. A written time (clock or
            date) has become seconds, and its unit is ``s``.
        values: each column's numbers by its name as written, shape (rows,), NaN where missing.
        lines: line number of each row, shape (rows,), int64, counting from 1.
        warnings: everything that was met and is not clean.
        origins: for a column of dated time, the day (``2026-03-31``) at whose 00:00 its seconds
            begin.
        clocks: names of the columns that were written as clock times or dates and are seconds now.
    """

    columns: tuple[Column, ...]
    values: Mapping[str, NDArray[np.float64]]
    lines: NDArray[np.int64]
    warnings: tuple[ReadingWarning, ...] = ()
    origins: Mapping[str, str] = field(default_factory=_none)
    clocks: tuple[str, ...] = ()

    @property
    def row_count(self) -> int:
        """Number of rows."""
        return len(self.lines)

    @property
    def head(self) -> TableHead:
        """Its columns, without their rows."""
        return TableHead(self.columns, self.clocks)

    def find(self, name: str) -> Column | None:
        """The column of this name, as ``TableHead.find``."""
        return self.head.find(name)

    def array(self, name: str) -> NDArray[np.float64]:
        """The numbers of the column that ``find`` gives, shape (rows,).

        Raises:
            KeyError: no such column.
        """
        column = self.find(name)
        if column is None:
            raise KeyError(name)
        return self.values[column.name]
