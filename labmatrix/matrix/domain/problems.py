"""Collect what is wrong with a file, so that a person is told everything at once."""

from __future__ import annotations

from collections.abc import Iterable

from labmatrix.kernel.errors import ShapeError, UserError
from labmatrix.matrix.domain.document import RowProblem


class MatrixRefused(ShapeError):
    """``matrix.rows``: a file that cannot be taken, with everything that is wrong with it."""

    def __init__(self, problems: Iterable[RowProblem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda problem: problem.row))
        places = len({problem.row for problem in self.problems})
        super().__init__(
            "matrix.rows",
            f"{places} {'row' if places == 1 else 'rows'} of the file cannot be taken, so nothing "
            "was; put right what is said of each and send the file again.",
            rows=[problem.as_dict() for problem in self.problems],
        )


class Problems:
    """A growing list of problems, each at its row and column."""

    def __init__(self, found: Iterable[RowProblem] = ()) -> None:
        self._found = list(found)

    def __len__(self) -> int:
        return len(self._found)

    def note(self, row: int, column: str, error: UserError) -> None:
        """Keep an error and go on."""
        self._found.append(RowProblem.of(row, column, error))

    def say(self, row: int, column: str, code: str, message: str) -> None:
        """Keep a problem and go on."""
        self._found.append(RowProblem(row, column, code, message))

    def stop(self) -> None:
        """Refuse the file if there is any problem.

        Raises:
            MatrixRefused: with all problems in the order of the rows.
        """
        if self._found:
            raise MatrixRefused(self._found)
