"""The matrix as a grid of two chosen factors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from labmatrix.matrix.domain.controls import Remark, remarks
from labmatrix.matrix.domain.design import (
    CellPlan,
    FactorPart,
    FactorPlan,
    LevelPlan,
    MatrixState,
    forbidden_by,
)


@dataclass(frozen=True)
class GridCell:
    """One cell in its square.

    Attributes:
        plan: what is planned.
        others: its levels of the factors that do not span the grid, in words.
        remarks: what to know about its controls.
    """

    plan: CellPlan
    others: str
    remarks: tuple[Remark, ...]


@dataclass(frozen=True)
class Square:
    """One level down and one across.

    Attributes:
        across: the level of its column; None where one factor alone spans the grid.
        cells: those that stand in it.
        forbidden: why no cell may stand in it; empty where one may.
        levels: what the square fixes, by factor name.
    """

    across: LevelPlan | None
    cells: tuple[GridCell, ...]
    forbidden: str
    levels: Mapping[str, str]

    @property
    def replicates(self) -> int:
        """The specimens planned in it."""
        return sum(cell.plan.replicates for cell in self.cells)


@dataclass(frozen=True)
class GridRow:
    """One level down, with a square for each level across."""

    down: LevelPlan
    squares: tuple[Square, ...]


@dataclass(frozen=True)
class Grid:
    """Rows and columns, and the factors that span them."""

    down: FactorPlan
    across: FactorPlan | None
    rows: tuple[GridRow, ...]

    @property
    def replicates(self) -> int:
        """The specimens planned in what is shown."""
        return sum(square.replicates for row in self.rows for square in row.squares)

    @property
    def cells(self) -> int:
        """The cells shown."""
        return sum(len(square.cells) for row in self.rows for square in row.squares)


def spanning_factors(
    factors: Sequence[FactorPlan], down: str = "", across: str = ""
) -> tuple[FactorPlan, FactorPlan | None]:
    """The factors that span a grid: those asked for, else what strengthens down, what conditions
    across, else the first ones.

    Args:
        factors: of the series, at least one.
        down: name of the factor whose levels are the rows.
        across: name of the factor whose levels are the columns.
    """
    named = {factor.name: factor for factor in factors}
    by_part = {factor.part: factor for factor in reversed(factors)}
    first = named.get(down) or by_part.get(FactorPart.STRENGTHENING)
    second = named.get(across)
    if first is None or first == second:
        first = next((f for f in factors if f != second), factors[0])
    if second is None or second == first:
        likely = by_part.get(FactorPart.CONDITIONING)
        others = [f for f in (likely, *factors) if f is not None and f != first]
        second = others[0] if others else None
    return first, second


def make_grid(
    state: MatrixState, *, down: str = "", across: str = "", only: Mapping[str, str] | None = None
) -> Grid:
    """The cells of a matrix by the levels of two factors.

    Args:
        state: all that is planned, with at least one factor.
        down: name of the factor whose levels are the rows; empty for a likely one.
        across: name of the factor whose levels are the columns; empty for a likely one.
        only: levels of other factors to which the grid is narrowed, by factor name.
    """
    first, second = spanning_factors(state.factors, down, across)
    spanning = {first.name} | ({second.name} if second else set())
    filtering = [factor for factor in state.factors if factor.name not in spanning]
    narrowed = {name: value for name, value in (only or {}).items() if name not in spanning}
    said: dict[str, list[Remark]] = {}
    for remark in remarks(state):
        said.setdefault(remark.cell, []).append(remark)
    places: dict[tuple[str, str], list[GridCell]] = {}
    for cell in state.cells:
        levels = state.named(cell.levels)
        if any(levels.get(name) != value for name, value in narrowed.items()):
            continue
        others = ", ".join(f.in_words(levels[f.name]) for f in filtering)
        place = (levels[first.name], levels[second.name] if second else "")
        shown = GridCell(cell, others, tuple(said.get(cell.code, ())))
        places.setdefault(place, []).append(shown)
    columns: tuple[LevelPlan | None, ...] = second.levels if second else (None,)
    return Grid(
        first,
        second,
        tuple(
            GridRow(
                level,
                tuple(
                    _square(state, narrowed, (first, level), (second, column), places)
                    for column in columns
                ),
            )
            for level in first.levels
        ),
    )


def _square(
    state: MatrixState,
    narrowed: Mapping[str, str],
    down: tuple[FactorPlan, LevelPlan],
    across: tuple[FactorPlan | None, LevelPlan | None],
    places: Mapping[tuple[str, str], list[GridCell]],
) -> Square:
    levels = {**narrowed, down[0].name: down[1].value}
    if across[0] is not None and across[1] is not None:
        levels[across[0].name] = across[1].value
    rule = forbidden_by(levels, state.forbidden)
    cells = places.get((down[1].value, across[1].value if across[1] else ""), [])
    return Square(across[1], tuple(cells), rule.why if rule and not cells else "", levels)
