"""Read cells."""

from __future__ import annotations

from labmatrix.matrix.domain.route import LevelValue, Route, resolve_route
from labmatrix.matrix.models import Cell


def cell_get_levels(cell: Cell) -> dict[str, LevelValue]:
    """The cell's level of every factor, by the factor's name, in the factors' order."""
    found = cell.cell_levels.select_related("factor", "level")
    return {entry.factor.name: entry.level.setting for entry in found}


def cell_get_route(cell: Cell) -> Route:
    """The route of every specimen of a cell.

    Raises:
        ShapeError: the series' template cannot be followed with these levels.
    """
    return resolve_route(cell.series.route, cell_get_levels(cell))
