"""Predictions of a series: ask for them, read them."""

from __future__ import annotations

from typing import Any

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from labmatrix.web.paging import Pages
from results.selectors.model_error import ratios_as_dict, ratios_get
from results.selectors.prediction import (
    prediction_as_dict,
    prediction_get,
    prediction_list_visible,
)
from results.selectors.prediction_rules import rules_as_dict
from results.selectors.ratio_samples import VALUES
from results.services.prediction import predictions_make
from results.services.prediction_rules import prediction_rules_choose


class PredictionsMakeView(APIView):
    """POST /api/series/{code}/predictions/."""

    @extend_schema(request=OpenApiTypes.OBJECT, responses={202: OpenApiTypes.OBJECT})
    def post(self, request: Request, code: str) -> Response:
        """{why}: predict every cell and specimen in the background; answers the job."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.ASK_PREDICTION)
        body: Any = request.data if isinstance(request.data, dict) else {}
        why = body.get("why", "asked for by the API")
        if not isinstance(why, str):
            raise ShapeError("prediction.why", f"why is {why!r}; allowed is a text.")
        job = predictions_make(actor=actor, series=series, why=why, now=now())
        return Response({"job": str(job.id), "state": job.state}, status=202)


class PredictionsView(APIView):
    """GET /api/predictions/."""

    @extend_schema(
        operation_id="predictions_list",
        parameters=[
            OpenApiParameter("series", str),
            OpenApiParameter("cell", str),
            OpenApiParameter("specimen", str),
            OpenApiParameter("superseded", bool, description="true: earlier ones, too."),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request) -> Response:
        """Current predictions of the person's programmes, a page at a time."""
        actor, query = actor_of(request), request.query_params
        found = prediction_list_visible(actor=actor).defer("sheet", "inputs", "curve")
        if code := query.get("series"):
            found = found.filter(cell__series=series_get(actor, code, Action.SEE_WORK))
        for name, lookup in (("cell", "cell__code"), ("specimen", "specimen__code")):
            if value := query.get(name):
                found = found.filter(**{lookup: value})
        if query.get("superseded") != "true":
            found = found.filter(is_current=True)
        pages = Pages()
        page = pages.paginate_queryset(found, request, view=self)
        return pages.get_paginated_response([prediction_as_dict(p) for p in page or []])


class PredictionView(APIView):
    """GET /api/predictions/{id}/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, prediction_id: str) -> Response:
        """One prediction with its inputs, its curve and every step."""
        found = prediction_get(actor=actor_of(request), prediction_id=prediction_id)
        return Response(prediction_as_dict(found, whole=True))


class RatiosView(APIView):
    """GET /api/series/{code}/test-to-prediction/."""

    @extend_schema(
        parameters=[
            OpenApiParameter("include", str, enum=["judged", "all", "clean"]),
            OpenApiParameter("values", str, enum=list(VALUES)),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request, code: str) -> Response:
        """Measured over predicted by specimen, with mean, s and COV by cell and by mode."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        query = request.query_params
        include, values = query.get("include", "judged"), query.get("values", "")
        found = ratios_get(series=series, include=include, values=values)
        return Response(ratios_as_dict(found))


class PredictionRulesView(APIView):
    """GET and POST /api/series/{code}/prediction-rules/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, code: str) -> Response:
        """Rules and limits in force, each with its source, and who chose them."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        return Response(rules_as_dict(series))

    @extend_schema(request=OpenApiTypes.OBJECT, responses={201: OpenApiTypes.OBJECT})
    def post(self, request: Request, code: str) -> Response:
        """{options, why}: all that is to differ from the defaults, and the reason."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.PLAN_MATRIX)
        body: Any = request.data if isinstance(request.data, dict) else {}
        why = body.get("why", "")
        if not isinstance(why, str):
            raise ShapeError("prediction.why", f"why is {why!r}; allowed is a text.")
        options = body.get("options", {})
        prediction_rules_choose(actor=actor, series=series, options=options, why=why, now=now())
        return Response(rules_as_dict(series), status=201)
