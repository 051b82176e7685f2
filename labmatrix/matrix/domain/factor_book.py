"""The factors of a series while a file is held against them: which may still grow."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.design import Combination, FactorPlan
from labmatrix.matrix.domain.document import (
    DeclaredFactor,
    DeclaredLevel,
    LevelText,
    MatrixDocument,
    RawRow,
)
from labmatrix.matrix.domain.factor_plan import add_level, factor_of_column, factor_of_declared
from labmatrix.matrix.domain.level_text import find_level, folded
from labmatrix.matrix.domain.problems import Problems


class FactorBook:
    """Factors by their folded names; those that are open, or new and without levels, may grow."""

    def __init__(self, factors: Sequence[FactorPlan], problems: Problems) -> None:
        self._factors = {folded(factor.name): factor for factor in factors}
        self._growing = {name for name, factor in self._factors.items() if factor.is_open}
        self._problems = problems

    @property
    def factors(self) -> tuple[FactorPlan, ...]:
        """The factors in order, with the levels that they have by now."""
        return tuple(self._factors.values())

    @property
    def names(self) -> str:
        """The factors' names in a sentence."""
        return ", ".join(factor.name for factor in self._factors.values())

    def take(self, document: MatrixDocument) -> None:
        """Define the factors of an empty series, or compare the file's with the series'."""
        if not self._factors:
            self._define_all(document)
            return
        for declared in document.declared:
            self._compare(declared)
        if document.rows and not document.declared:
            self._compare_columns(document)

    def _define_all(self, document: MatrixDocument) -> None:
        before = len(self._problems)
        for column, make in _definitions(document):
            try:
                factor = make()
            except ShapeError as error:
                self._problems.note(document.header_row, column, error)
                continue
            name = folded(factor.name)
            if name in self._factors:
                self._problems.say(
                    document.header_row,
                    column,
                    "matrix.factor-twice",
                    f"The factor {factor.name} is there twice; allowed is once.",
                )
            self._factors[name] = factor
            if factor.is_open or not factor.levels:
                self._growing.add(name)
        if not self._factors and len(self._problems) == before:
            self._problems.say(
                document.header_row,
                "",
                "matrix.no-factors",
                "The file has no column of levels; allowed is one column for each factor.",
            )

    def _compare_columns(self, document: MatrixDocument) -> None:
        columns = {folded(column.name): column.name for column in document.columns}
        for name, written in columns.items():
            if name not in self._factors:
                self._problems.say(
                    document.header_row,
                    written,
                    "matrix.factor-unknown",
                    f"The column {written!r} is no factor of the series; it has {self.names}.",
                )
        for name, factor in self._factors.items():
            if name not in columns:
                self._problems.say(
                    document.header_row,
                    factor.name,
                    "matrix.factor-missing",
                    f"The file has no column {factor.name}; every factor needs one: {self.names}.",
                )

    def _compare(self, declared: DeclaredFactor) -> None:
        try:
            asked = factor_of_declared(declared)
            have = self._factors.get(folded(asked.name))
            if have is None:
                raise ShapeError(
                    "matrix.factor-unknown",
                    f"The factor {asked.name!r} is not in the series; it has {self.names}.",
                )
            if (asked.kind, asked.unit, asked.part) != (have.kind, have.unit, have.part):
                raise ShapeError(
                    "matrix.factor-differs",
                    f"{have.name} is {have.kind} [{have.unit or '1'}], part {have.part}; the file "
                    f"says {asked.kind} [{asked.unit or '1'}], part {asked.part}.",
                )
            for level in declared.levels:
                self._value(folded(have.name), LevelText(level.value, level.unit), level)
        except ShapeError as error:
            self._problems.note(declared.row, declared.name, error)

    def combination(self, row: RawRow) -> Combination | None:
        """The levels of a row, new ones added where a factor may grow; None with a problem."""
        values: list[str] = []
        for name, factor in list(self._factors.items()):
            try:
                values.append(self._value(name, row.levels.get(name, LevelText(""))))
            except ShapeError as error:
                self._problems.note(row.number, factor.name, error)
        for name in sorted(row.levels.keys() - self._factors.keys()):
            self._problems.say(
                row.number,
                name,
                "matrix.factor-unknown",
                f"{name!r} is no factor of the series; it has {self.names}.",
            )
        complete = len(values) == len(self._factors) == len(row.levels)
        return tuple(values) if complete else None

    def _value(self, name: str, text: LevelText, declared: DeclaredLevel | None = None) -> str:
        factor = self._factors[name]
        found = find_level(factor, text.text, written_in=text.unit)
        if found is not None:
            return found.value
        if name not in self._growing:
            raise ShapeError(
                "matrix.level-unknown",
                f"{factor.name} is {text.text!r}; its levels are "
                f"{', '.join(level.value for level in factor.levels)}, and it is not open for "
                "others.",
            )
        grown = add_level(factor, declared or DeclaredLevel(text.text, unit=text.unit))
        self._factors[name] = grown
        (added,) = set(grown.levels) - set(factor.levels)
        return added.value


def _definitions(document: MatrixDocument) -> list[tuple[str, Callable[[], FactorPlan]]]:
    if document.declared:
        return [(d.name, partial(factor_of_declared, d)) for d in document.declared]
    return [
        (column.name, partial(factor_of_column, column, _texts_below(column.name, document)))
        for column in document.columns
    ]


def _texts_below(name: str, document: MatrixDocument) -> list[str]:
    found = (row.levels.get(folded(name)) for row in document.rows)
    return [text.text for text in found if text is not None]
