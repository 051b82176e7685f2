"""What a matrix file says, before it is held against the series: from CSV, XLSX or JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from labmatrix.kernel.errors import UserError
from labmatrix.matrix.domain.design import FactorKind, FactorPart

REPLICATES, CODE, NOTE = "replicates", "code", "note"
GAIN_CONTROL, CONDITIONING_CONTROL = "gain control", "conditioning control"
PLAIN_COLUMNS = (REPLICATES, CODE, GAIN_CONTROL, CONDITIONING_CONTROL, NOTE)
WHOLE_FILE = 0


@dataclass(frozen=True)
class RowProblem:
    """What is wrong with one cell of a file; row 0 is the file as a whole."""

    row: int
    column: str
    code: str
    message: str

    @classmethod
    def of(cls, row: int, column: str, error: UserError) -> RowProblem:
        """The problem that an error is, at its place."""
        return cls(row, column, error.code, error.message)

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready: {row, column, code, message}."""
        return {
            "row": self.row,
            "column": self.column,
            "code": self.code,
            "message": self.message,
        }


@dataclass(frozen=True)
class FactorColumn:
    """A column of levels: the factor's name and the unit of what is written, if it says one."""

    name: str
    unit: str = ""


@dataclass(frozen=True)
class DeclaredLevel:
    """A level that a JSON file declares."""

    value: str
    unit: str = ""
    code: str = ""
    label: str = ""


@dataclass(frozen=True)
class DeclaredFactor:
    """A factor that a JSON file declares."""

    row: int
    name: str
    kind: FactorKind
    unit: str
    part: FactorPart
    is_open: bool
    control: str | None
    levels: tuple[DeclaredLevel, ...]


@dataclass(frozen=True)
class LevelText:
    """A level as a file writes it."""

    text: str
    unit: str = ""


@dataclass(frozen=True)
class DeclaredForbidden:
    """A forbidden combination that a JSON file declares; ``levels`` by the factor name written."""

    row: int
    levels: Mapping[str, LevelText]
    why: str


@dataclass(frozen=True)
class RawRow:
    """One cell of the matrix as a file writes it; ``levels`` by the folded factor name."""

    number: int
    levels: Mapping[str, LevelText]
    plain: Mapping[str, str]


@dataclass(frozen=True)
class MatrixDocument:
    """A whole file; problems found while reading are kept, so that all are told at once."""

    columns: tuple[FactorColumn, ...]
    rows: tuple[RawRow, ...]
    declared: tuple[DeclaredFactor, ...] = ()
    forbidden: tuple[DeclaredForbidden, ...] = ()
    header_row: int = 1
    problems: tuple[RowProblem, ...] = field(default=())
