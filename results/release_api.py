"""Releases, for programs: make one, list them, read one."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.selectors.programme import programme_get_roles
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from labmatrix.web.paging import Pages
from results.selectors.release import (
    release_as_seen,
    release_get,
    release_head_as_seen,
    release_list_visible,
)
from results.selectors.snapshot import MetricAsked
from results.services.release import release_make

METRICS_SHAPE = (
    "metrics has {given!r}; allowed is a list of names or of {{metric, method?, at?}}, where at is "
    "a load cycle."
)


def _metric(given: Any) -> MetricAsked:
    known = {"metric": given} if isinstance(given, str) else given
    if not isinstance(known, dict) or not set(known) <= {"metric", "method", "at"}:
        raise ShapeError("release.metrics", METRICS_SHAPE.format(given=given))
    metric, method, at = known.get("metric"), known.get("method", ""), known.get("at")
    is_cycle = at is None or (isinstance(at, int) and not isinstance(at, bool))
    if not isinstance(metric, str) or not metric or not isinstance(method, str) or not is_cycle:
        raise ShapeError("release.metrics", METRICS_SHAPE.format(given=given))
    return MetricAsked(metric, method, at)


def _text(body: dict[str, Any], name: str, default: str = "") -> str:
    value = body.get(name, default)
    if not isinstance(value, str):
        raise ShapeError(f"release.{name}", f"{name} is {value!r}; allowed is a text.")
    return value


class ReleasesView(APIView):
    """GET /api/releases/."""

    @extend_schema(
        operation_id="releases_list",
        parameters=[OpenApiParameter("series", str)],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request) -> Response:
        """Releases of the person's programmes, the newest first, without their numbers."""
        actor = actor_of(request)
        found = release_list_visible(actor)
        if code := request.query_params.get("series"):
            found = found.filter(series=series_get(actor, code, Action.SEE_PROGRAMME))
        roles = programme_get_roles(actor)
        pages = Pages()
        page = pages.paginate_queryset(found, request, view=self)
        return pages.get_paginated_response(
            [release_head_as_seen(r, roles[r.series.programme_id]) for r in page or []]
        )


class ReleaseView(APIView):
    """GET /api/releases/{id}/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, release_id: str) -> Response:
        """One version with all its numbers, as far as the person may see them."""
        release, role = release_get(actor_of(request), release_id)
        return Response(release_as_seen(release, role))


class ReleaseMakeView(APIView):
    """POST /api/series/{code}/releases/."""

    @extend_schema(request=OpenApiTypes.OBJECT, responses={201: OpenApiTypes.OBJECT})
    def post(self, request: Request, code: str) -> Response:
        """{scope, why, metrics, control?, include?, imported?}: freeze them as the next version."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.RELEASE)
        body: Any = request.data if isinstance(request.data, dict) else {}
        check_storable(body, argument="the release")
        metrics = body.get("metrics", ["peak_load"])
        if not isinstance(metrics, list):
            raise ShapeError("release.metrics", METRICS_SHAPE.format(given=metrics))
        release = release_make(
            actor=actor,
            series=series,
            scope=_text(body, "scope"),
            why=_text(body, "why"),
            metrics=[_metric(given) for given in metrics],
            control=_text(body, "control", "gain"),
            include=_text(body, "include", "judged"),
            imported=_text(body, "imported", "with"),
            now=now(),
        )
        answer = {"id": str(release.id), "version": release.version, "changes": release.changes}
        return Response(answer, status=201)
