"""The load cycles of a record, one by one."""

from __future__ import annotations

from urllib.parse import urlencode

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.web.actor import actor_of
from results.api import whole_number
from results.selectors.cycles import CyclePage, cycle_page
from results.selectors.record import record_get


def _address(request: Request, page: CyclePage, first: int | None, last: int | None) -> str | None:
    """The address of another page of the same list."""
    if first is None:
        return None
    query = {name: value for name, value in request.query_params.items() if value}
    query |= {"from": str(first)} | ({} if last is None else {"to": str(last)})
    return f"{request.build_absolute_uri(request.path)}?{urlencode(query)}"


class CyclesView(APIView):
    """GET /api/records/{id}/cycles/."""

    @extend_schema(
        parameters=[
            OpenApiParameter("from", int, description="Number of the first load cycle."),
            OpenApiParameter("to", int, description="Number of the last load cycle."),
            OpenApiParameter("page_size", int, description="100; at most 1000."),
            OpenApiParameter("key", str, description="Of an earlier reduction of the record."),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request, record_id: str) -> Response:
        """Load cycles by their numbers, each with all that was measured of it."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        query = request.query_params
        size = whole_number(query.get("page_size"), argument="page_size") or 100
        last = whole_number(query.get("to"), argument="to")
        page = cycle_page(
            record=record,
            first=whole_number(query.get("from"), argument="from") or 1,
            last=last,
            key=query.get("key", ""),
            at_most=size,
        )
        before = None if page.first <= 1 else max(1, page.first - size)
        return Response(
            {
                "count": page.count,
                "next": _address(request, page, page.next_from, last),
                "previous": _address(request, page, before, page.first - 1),
                "key": page.reduction.key,
                "columns": page.columns,
                "results": page.rows,
            }
        )
