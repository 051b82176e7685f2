"""Factors, levels and cells as plain values, and which combinations a matrix holds."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.matrix.domain.route_template import LevelValue, listed

REPLICATES_MAX = 999
CELLS_MAX = 2000

# The level of every factor, in the order of the factors: the values' texts.
Combination = tuple[str, ...]


class FactorKind(StrEnum):
    """How a factor's levels are written."""

    NUMERIC = "numeric"
    NAMED = "named"


class FactorPart(StrEnum):
    """What a factor changes; from it follows which cell is whose control."""

    STRENGTHENING = "strengthening"
    CONDITIONING = "conditioning"
    MEMBER = "member"
    OTHER = "other"


@dataclass(frozen=True)
class LevelPlan:
    """One value of a factor.

    Attributes:
        value: its text; of a number, the shortest that gives the number.
        code: its part of a cell's code.
        number: in the factor's unit; None for a name.
        is_control: whether it means none (no plies, no exposure, no sustained load).
    """

    value: str
    code: str
    number: float | None = None
    label: str = ""
    is_control: bool = False

    @property
    def setting(self) -> LevelValue:
        """The value that a route takes: the number, else the name."""
        return self.value if self.number is None else self.number


@dataclass(frozen=True)
class FactorPlan:
    """A variable of the matrix with its levels in order."""

    name: str
    kind: FactorKind
    levels: tuple[LevelPlan, ...]
    unit: str = ""
    part: FactorPart = FactorPart.OTHER
    is_open: bool = False

    @property
    def control(self) -> LevelPlan | None:
        """The level that means none, if the factor has one."""
        return next((level for level in self.levels if level.is_control), None)

    def level(self, value: str) -> LevelPlan:
        """The level with this value.

        Raises:
            ShapeError: ``matrix.level-unknown``.
        """
        for level in self.levels:
            if level.value == value:
                return level
        raise ShapeError(
            "matrix.level-unknown",
            f"{self.name} is {value!r}; its levels are "
            f"{listed([level.value for level in self.levels])}.",
            factor=self.name,
            value=value,
        )

    def in_words(self, value: str) -> str:
        """``plies 2``, ``thickness 10 mm``, or by its label ``load cycles 2 million``."""
        label = next((level.label for level in self.levels if level.value == value), "")
        return f"{self.name} {label or f'{value} {self.unit}'}".rstrip()


@dataclass(frozen=True)
class ForbiddenPlan:
    """Levels of two or more factors that never go together."""

    levels: Mapping[str, str]
    why: str

    def forbids(self, levels: Mapping[str, str]) -> bool:
        """Whether a cell with these levels, by factor name, would hold them all."""
        return all(levels.get(name) == value for name, value in self.levels.items())


@dataclass(frozen=True)
class CellPlan:
    """One combination of levels with its planned replicates and, by code, its controls."""

    code: str
    levels: Combination
    replicates: int
    gain_control: str | None = None
    conditioning_control: str | None = None
    note: str = ""


@dataclass(frozen=True)
class MatrixState:
    """All that is planned in one series."""

    factors: tuple[FactorPlan, ...] = ()
    forbidden: tuple[ForbiddenPlan, ...] = ()
    cells: tuple[CellPlan, ...] = ()

    def named(self, combination: Combination) -> dict[str, str]:
        """The levels of a combination by the factors' names."""
        return named_levels(self.factors, combination)

    @property
    def never_together(self) -> list[tuple[str, str]]:
        """For each rule the levels, ``sustained 40 % and load cycles 2 million``, and why."""
        named = {factor.name: factor for factor in self.factors}
        return [
            (" and ".join(named[f].in_words(v) for f, v in rule.levels.items()), rule.why)
            for rule in self.forbidden
        ]

    @cached_property
    def by_levels(self) -> Mapping[Combination, CellPlan]:
        """The cells by their combinations."""
        return {cell.levels: cell for cell in self.cells}

    @cached_property
    def by_code(self) -> Mapping[str, CellPlan]:
        """The cells by their codes."""
        return {cell.code: cell for cell in self.cells}


def named_levels(factors: Sequence[FactorPlan], combination: Combination) -> dict[str, str]:
    """The levels of a combination by the factors' names, in the factors' order."""
    return {f.name: value for f, value in zip(factors, combination, strict=True)}


def combination_key(levels: Mapping[str, str]) -> str:
    """One text for the same levels in whatever order: 64 hexadecimal digits."""
    return content_key(levels)


def combination_in_words(factors: Sequence[FactorPlan], combination: Combination) -> str:
    """``plies 2, exposure freeze–thaw, sustained 40 %``."""
    return ", ".join(f.in_words(v) for f, v in zip(factors, combination, strict=True))


def route_levels(factors: Sequence[FactorPlan], combination: Combination) -> dict[str, LevelValue]:
    """What a route is resolved with: number or name of each level, by the factor's name."""
    return {f.name: f.level(value).setting for f, value in zip(factors, combination, strict=True)}


def forbidden_by(
    levels: Mapping[str, str], forbidden: Collection[ForbiddenPlan]
) -> ForbiddenPlan | None:
    """The first rule that forbids a cell with these levels, by factor name; None if none does."""
    return next((rule for rule in forbidden if rule.forbids(levels)), None)


def factorial_size(factors: Sequence[FactorPlan]) -> int:
    """The number of combinations of all levels; 0 without factors."""
    return math.prod(len(f.levels) for f in factors) if factors else 0


def full_factorial(
    factors: Sequence[FactorPlan], forbidden: Collection[ForbiddenPlan] = ()
) -> Iterator[Combination]:
    """Every combination that is not forbidden; the last factor changes fastest.

    Raises:
        RangeError: more than 2 000 combinations, forbidden ones counted.
    """
    size = factorial_size(factors)
    if size > CELLS_MAX:
        raise RangeError(
            "The number of combinations", size, f"at most {CELLS_MAX}", code="matrix.too-many-cells"
        )
    if not factors:
        return
    for combination in itertools.product(*([lv.value for lv in f.levels] for f in factors)):
        if forbidden_by(named_levels(factors, combination), forbidden) is None:
            yield combination


def check_replicates(replicates: int) -> int:
    """The number itself, if so many can be planned.

    Raises:
        RangeError: ``input.out-of-range``.
    """
    if not 0 <= replicates <= REPLICATES_MAX:
        raise RangeError("replicates", replicates, f"a whole number from 0 to {REPLICATES_MAX}")
    return replicates
