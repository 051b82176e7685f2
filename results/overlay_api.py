"""The API of overlays and trends."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.errors import ShapeError
from labmatrix.web.actor import actor_of
from results.overlay_figures import overlay_asked, overlay_get

NOTHING = "Nothing was chosen; name at least one cell (SERIES/CELL), specimen or record."


class OverlayView(APIView):
    """GET /api/overlay/."""

    @extend_schema(
        operation_id="overlay_get",
        parameters=[
            OpenApiParameter("cell", str, many=True, description="SERIES/CELL, any number."),
            OpenApiParameter("specimen", str, many=True, description="Codes of specimens."),
            OpenApiParameter("record", str, many=True, description="Ids of records."),
            OpenApiParameter("cycles", str, description="linear or log."),
            OpenApiParameter("metric", str, description="Of the trend: name or name|method."),
            OpenApiParameter("over", str, description="Of the trend: cell or age."),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request) -> Response:
        """Curves and trends of any selection, down-sampled with every extreme kept, in SI."""
        actor = actor_of(request)
        choice, more = overlay_asked(request.query_params)
        if choice.is_empty:
            raise ShapeError("overlay.nothing", NOTHING)
        overlay = overlay_get(actor=actor, choice=choice, **more)
        return Response(
            {
                "specimens": [s.code for s in overlay.selection.specimens],
                "figures": [
                    {
                        "name": figure.name,
                        "caption": figure.caption,
                        "n": figure.n,
                        "payload": figure.payload,
                        "table": figure.table,
                    }
                    for figure in overlay.figures.values()
                ],
            }
        )
