"""The API of planned cells: look at one, add one, change or withdraw it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import status
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.plan_rules import what_stays
from labmatrix.matrix.making import made_of_cell
from labmatrix.matrix.models import Cell, Series
from labmatrix.matrix.presenters import cell_row
from labmatrix.matrix.selectors.cell import cell_get, cell_list_by_code, cell_stamp
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get
from labmatrix.matrix.services.cell import cell_add, cell_change, cell_withdraw
from labmatrix.matrix.shapes import (
    CellAddRequest,
    CellChangeRequest,
    CellDetail,
    CellWithdrawRequest,
)
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from labmatrix.web.models import Person
from labmatrix.web.parsers import BoundedJSONParser

UNKNOWN_CONTROL = "The {kind} is {code!r}; {series} has no cell of that code."


def _detail(actor: Person, cell: Cell) -> dict[str, Any]:
    role = programme_role(actor, cell.series.programme)
    made = made_of_cell(cell)
    return cell_row(cell, role) | {
        "created": made.created,
        "cast": made.cast,
        "stays": list(what_stays(made)),
        "seen": cell_stamp(cell),
    }


class SeriesCellsView(APIView):
    """The cells of a series, to add one."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(operation_id="cells_add", request=CellAddRequest, responses={201: CellDetail})
    def post(self, request: Request, code: str) -> Response:
        """Plan one cell; a combination that is forbidden or planned already is refused."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.PLAN_MATRIX)
        asked = CellAddRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        added = cell_add(actor=actor, series=series, now=now(), **asked.validated_data)
        (cell,) = cell_list_by_code(series, [added.code])
        return Response(_detail(actor, cell), status=status.HTTP_201_CREATED)


class SeriesCellView(APIView):
    """One planned cell."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(operation_id="cells_get", responses=CellDetail)
    def get(self, request: Request, code: str, cell: str) -> Response:
        """A cell with what of it cannot be changed any more, and why."""
        actor = actor_of(request)
        return Response(_detail(actor, cell_get(actor, code, cell, Action.SEE_WORK)))

    @extend_schema(operation_id="cells_change", request=CellChangeRequest, responses=CellDetail)
    def post(self, request: Request, code: str, cell: str) -> Response:
        """Change what is planned; what is left out stays. `seen` guards others' changes."""
        actor = actor_of(request)
        found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
        asked = CellChangeRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        data: dict[str, Any] = asked.validated_data
        cell_change(
            actor=actor,
            cell=found,
            replicates=data.get("replicates", found.replicates),
            gain_control=_control(found, data, "gain_control"),
            conditioning_control=_control(found, data, "conditioning_control"),
            note=data.get("note", found.note),
            why=data["why"],
            seen=data["seen"] or cell_stamp(found),
            now=now(),
        )
        return Response(_detail(actor, cell_get(actor, code, cell, Action.PLAN_MATRIX)))


class SeriesCellWithdrawView(APIView):
    """A planned cell, to be given up."""

    parser_classes = (BoundedJSONParser,)

    @extend_schema(operation_id="cells_withdraw", request=CellWithdrawRequest, responses=CellDetail)
    def post(self, request: Request, code: str, cell: str) -> Response:
        """Plan no specimens of it any more; refused once one carries a label."""
        actor = actor_of(request)
        found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
        asked = CellWithdrawRequest(data=request.data)
        asked.is_valid(raise_exception=True)
        cell_withdraw(actor=actor, cell=found, now=now(), **asked.validated_data)
        return Response(_detail(actor, cell_get(actor, code, cell, Action.PLAN_MATRIX)))


def _control(cell: Cell, data: dict[str, Any], name: str) -> Cell | None:
    """The control that is asked for; the one that it has where nothing is said."""
    if name not in data:
        have: Cell | None = getattr(cell, name)
        return have
    code = data[name]
    if not code:
        return None
    return _cell_of(cell.series, code, name.replace("_", " "))


def _cell_of(series: Series, code: str, kind: str) -> Cell:
    found = cell_list_by_code(series, [code])
    if not found:
        words = UNKNOWN_CONTROL.format(kind=kind, code=code[:60], series=series.code)
        raise ShapeError("matrix.control-unknown", words)
    return found[0]
