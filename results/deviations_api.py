"""The API of a comparison with and without deviations."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from results.api import comparison_asked
from results.selectors.comparison_both import both_as_dict, comparison_both


class ComparisonBothView(APIView):
    """GET /api/series/{code}/comparison/deviations/."""

    @extend_schema(
        operation_id="comparison_deviations",
        parameters=[
            OpenApiParameter("metric", str),
            OpenApiParameter("control", str, enum=["gain", "conditioning"]),
            OpenApiParameter("imported", str, enum=["with", "without"]),
            OpenApiParameter("method", str),
            OpenApiParameter("at", int),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request, code: str) -> Response:
        """Both sides with retention, and which specimens one side leaves out and why."""
        asked = comparison_asked(request, code)
        both = comparison_both(
            series=asked.series,
            metric=asked.metric,
            control=asked.control,
            method=asked.method,
            at=asked.at,
            imported=asked.imported,
        )
        return Response(both_as_dict(both))
