"""Retention after exposure, for programs."""

from __future__ import annotations

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from results.api import comparison_asked
from results.selectors.failure_mode import failure_mode_list
from results.selectors.retention import retention_list
from results.selectors.retention_json import retention_as_dict


class RetentionView(APIView):
    """GET /api/series/{code}/retention/."""

    @extend_schema(
        parameters=[
            OpenApiParameter("metric", str),
            OpenApiParameter("include", str, enum=["judged", "all", "clean", "spotless"]),
            OpenApiParameter("imported", str, enum=["with", "without"]),
            OpenApiParameter("method", str),
            OpenApiParameter("at", int),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request, code: str) -> Response:
        """Member and contribution retention by cell with their groups, and failure modes."""
        comparison = comparison_asked(request, code)
        modes = failure_mode_list(comparison.series, comparison.kept)
        return Response(retention_as_dict(comparison, retention_list(comparison), modes))
