"""Read cells."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.models import Prefetch, QuerySet

from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.domain.route import LevelValue, Route, resolve_route
from labmatrix.matrix.models import Cell, CellLevel, Series
from labmatrix.matrix.selectors.programme import programme_list_visible
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.domain.roles import NOT_YOURS, Action
from labmatrix.web.models import Person


def cell_levels_read() -> Prefetch[Any]:
    """How the levels of some cells are read with their factors, in order; one query."""
    entries = CellLevel.objects.select_related("factor", "level").order_by("factor__position", "id")
    return Prefetch("cell_levels", queryset=entries)


def _with_relations(cells: QuerySet[Cell]) -> QuerySet[Cell]:
    return cells.select_related(
        "series__programme", "gain_control", "conditioning_control"
    ).prefetch_related(cell_levels_read())


def cell_list_ids(actor: Person, series: Series | None = None) -> QuerySet[Cell, int]:
    """The rows of the cells that a person sees, of one series or of all, in order."""
    mine = programme_list_visible(actor).values("id")
    cells = Cell.objects.filter(series__programme__in=mine)
    if series is not None:
        cells = cells.filter(series=series)
    return cells.order_by("series__code", "id").values_list("id", flat=True)


def cell_list_page(ids: Sequence[int]) -> list[Cell]:
    """Some cells in the order of the ids; two queries, however many."""
    found = _with_relations(Cell.objects.filter(id__in=ids)).in_bulk()
    return [found[key] for key in ids]


def cell_list_by_code(series: Series, codes: Sequence[str]) -> list[Cell]:
    """The cells of a series with these codes, in the order of their making."""
    return list(cell_list_of_series(series).filter(code__in=codes))


def cell_list_of_series(series: Series) -> QuerySet[Cell]:
    """The cells of one series in the order of their making."""
    return _with_relations(Cell.objects.filter(series=series).order_by("id"))


def cell_list_of_many(series: Sequence[int]) -> QuerySet[Cell]:
    """The cells of the series with these keys in the order of their making."""
    return _with_relations(Cell.objects.filter(series__in=series).order_by("id"))


def cell_get(actor: Person, series_code: str, code: str, action: Action) -> Cell:
    """The cell with this code in a series, if the person may do this there.

    Raises:
        NotFound: there is none, or it is not theirs, or their role does not reach.
    """
    series = series_get(actor, series_code, action)
    cell = cell_list_of_series(series).filter(code=code).first()
    if cell is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return cell


def cell_get_levels(cell: Cell) -> dict[str, LevelValue]:
    """The cell's level of every factor, by the factor's name, in the factors' order.

    No query for cells of the lists above.
    """
    return {entry.factor.name: entry.level.setting for entry in cell_entries(cell)}


def cell_entries(cell: Cell) -> list[CellLevel]:
    """The cell's levels with their factors, in order; no query for cells of the lists above."""
    if "cell_levels" in getattr(cell, "_prefetched_objects_cache", {}):
        return list(cell.cell_levels.all())
    found = cell.cell_levels.select_related("factor", "level")
    return list(found.order_by("factor__position", "id"))


def cell_get_route(cell: Cell) -> Route:
    """The route of every specimen of a cell.

    Raises:
        ShapeError: the series' template cannot be followed with these levels.
    """
    return resolve_route(cell.series.route, cell_get_levels(cell))


def cell_planned(cell: Cell) -> dict[str, Any]:
    """What is planned for a cell and can be changed, JSON-ready; no query with its relations."""
    return {
        "replicates": cell.replicates,
        "gain_control": cell.gain_control.code if cell.gain_control else None,
        "conditioning_control": (
            cell.conditioning_control.code if cell.conditioning_control else None
        ),
        "note": cell.note,
    }


def cell_stamp(cell: Cell) -> str:
    """64 hexadecimal digits that change with the plan of a cell: what a person looked at."""
    return content_key(cell_planned(cell))
