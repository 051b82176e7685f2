"""Where the room that makes specimens says how many it made of each cell; this room knows none."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from labmatrix.matrix.domain.plan_rules import Made
from labmatrix.matrix.models import Cell, Series

# From a series to what was made of each of its cells, by the cell's row; missing is nothing.
MadeReader = Callable[[Series], Mapping[int, Made]]
_readers: list[MadeReader] = []


def made_register(reader: MadeReader) -> None:
    """Add a reader; called from an app's ``ready``."""
    if reader not in _readers:
        _readers.append(reader)


def made_of_cell(cell: Cell) -> Made:
    """What was made of one cell."""
    return sum((r(cell.series).get(cell.pk, Made()) for r in _readers), Made())


def made_of_series(series: Series) -> Made:
    """What was made of all cells of a series."""
    return sum((made for r in _readers for made in r(series).values()), Made())
