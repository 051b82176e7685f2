"""Records, numbers, comparison."""

from __future__ import annotations

import csv
import io
import math
from typing import Any

from django.http import HttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.exceptions import ValidationError
from rest_framework.parsers import FormParser, MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from labmatrix.evidence.models import ChannelMapSaved, Job
from labmatrix.kernel.clock import iso, now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.paging import Pages
from results.budget_view import budget_as_answer
from results.domain.curve import Window
from results.export import comparison_csv
from results.forms import RecordUpload
from results.selectors.comparison import Comparison, comparison_get
from results.selectors.comparison_json import comparison_as_dict
from results.selectors.record import (
    metric_as_dict,
    metric_get,
    record_as_dict,
    record_get,
    record_list_visible,
    reduction_get,
)
from results.services.curve import curve_between
from results.services.record import (
    Upload,
    channel_map_save,
    record_receive,
    record_reduce_again,
)


def whole_number(text: str | None, *, argument: str) -> int | None:
    """A whole number from a query, None when it is not given.

    Raises:
        ShapeError: ``request.number``.
    """
    if text is None or text == "":
        return None
    if not text.isdecimal() or len(text) > 15:
        raise ShapeError("request.number", f"{argument} is {text!r}; allowed is a whole number.")
    return int(text)


class RecordsView(APIView):
    """GET and POST /api/records/."""

    parser_classes = (MultiPartParser, FormParser)

    @extend_schema(
        operation_id="records_list",
        parameters=[OpenApiParameter("subject", str), OpenApiParameter("test", str)],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request) -> Response:
        """Records of the person's programmes, newest first, a page at a time."""
        records = record_list_visible(actor=actor_of(request))
        for name, lookup in (("subject", "subject__code"), ("test", "test")):
            if value := request.query_params.get(name):
                records = records.filter(**{lookup: value})
        pages = Pages()
        page = pages.paginate_queryset(records, request, view=self)
        return pages.get_paginated_response(
            [record_as_dict(record, with_metrics=False) for record in page or []]
        )

    @extend_schema(request=RecordUpload, responses={201: OpenApiTypes.OBJECT})
    def post(self, request: Request) -> Response:
        """Take a record in; answers its id and status at once, reduces in the background."""
        asked = RecordUpload(data=request.data)
        asked.is_valid(raise_exception=True)
        files = request.FILES.getlist("file")
        if not files:
            raise ValidationError({"file": ["At least one file part named file is needed."]})
        record = record_receive(
            actor=actor_of(request),
            uploads=[Upload(f.name or "unnamed", f.file) for f in files],
            now=now(),
            **asked.taken(),
        )
        return Response({"id": str(record.id), "status": record.status}, status=201)


class RecordView(APIView):
    """GET /api/records/{id}/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, record_id: str) -> Response:
        """Status, progress, warnings, error, and every number with its origin."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        return Response(record_as_dict(record))


def _limit(request: Request, name: str) -> float | None:
    """An end of a window from the query, None when it is open.

    Raises:
        ShapeError: ``request.number``.
    """
    text = request.query_params.get(name, "")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise ShapeError("request.number", f"{name} is {text!r}; allowed is a finite number.")
    return value


class CurveView(APIView):
    """GET /api/records/{id}/curve/."""

    @extend_schema(
        parameters=[
            OpenApiParameter("from_row", int, description="First row, from 0."),
            OpenApiParameter("to_row", int, description="Last row."),
            *(OpenApiParameter(name, float) for name in ("x_from", "x_to", "y_from", "y_to")),
            OpenApiParameter("key", str, description="Of an earlier reduction of the record."),
        ],
        responses=OpenApiTypes.OBJECT,
    )
    def get(self, request: Request, record_id: str) -> Response:
        """The measured curve between two rows or within a window, every row where it fits."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        query = request.query_params
        reduction = reduction_get(record=record, key=query.get("key", ""))
        names = ("x_from", "x_to", "y_from", "y_to")
        return Response(
            curve_between(
                reduction=reduction,
                from_row=whole_number(query.get("from_row"), argument="from_row") or 0,
                to_row=whole_number(query.get("to_row"), argument="to_row"),
                window=Window(**{name: _limit(request, name) for name in names}),
            )
        )


class RecordReduceView(APIView):
    """POST /api/records/{id}/reduce/."""

    @extend_schema(request=OpenApiTypes.OBJECT, responses={202: OpenApiTypes.OBJECT})
    def post(self, request: Request, record_id: str) -> Response:
        """{why, settings?, channels?}: reduce again; what stood before stays beside it."""
        actor = actor_of(request)
        record = record_get(actor=actor, record_id=record_id)
        body = request.data if isinstance(request.data, dict) else {}
        settings = body.get("settings")
        if settings is not None and not isinstance(settings, dict):
            raise ShapeError("record.settings", "settings is an object of names and values.")
        job = record_reduce_again(
            actor=actor,
            record=record,
            why=str(body.get("why", "")),
            settings=settings,
            channels=body.get("channels"),
            now=now(),
        )
        return Response({"id": str(record.id), "job": str(job.id)}, status=202)


class JobsView(APIView):
    """GET /api/jobs/."""

    @extend_schema(parameters=[OpenApiParameter("state", str)], responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """Work asked for, newest first; only people of the laboratory see it."""
        require(actor_of(request).role, Action.SEE_MACHINES)
        jobs = Job.objects.order_by("-created_at", "id")
        if state := request.query_params.get("state"):
            jobs = jobs.filter(state=state)
        pages = Pages()
        page = pages.paginate_queryset(jobs, request, view=self)
        return pages.get_paginated_response([_job_as_dict(job) for job in page or []])


def _job_as_dict(job: Job) -> dict[str, Any]:
    return {
        "id": str(job.id),
        "kind": job.kind,
        "queue": job.queue,
        "state": job.state,
        "attempts": job.attempts,
        "progress": {"fraction": job.progress, "words": job.progress_words},
        "error": job.error,
        "created_at": iso(job.created_at),
        "finished_at": iso(job.finished_at) if job.finished_at else None,
    }


class MetricView(APIView):
    """GET /api/metrics/{id}/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, metric_id: str) -> Response:
        """One number with everything that it came from."""
        metric = metric_get(actor=actor_of(request), metric_id=metric_id)
        reduction = metric.reduction
        return Response(
            metric_as_dict(metric, reduction)
            | {
                "record": str(reduction.record_id),
                "subject": reduction.record.subject.code,
                "point": metric.point,
                "budget": budget_as_answer(metric),
                "inputs": reduction.inputs,
                "is_current": reduction.is_current,
                "superseded_by": str(reduction.superseded_by_id or "") or None,
                "why": reduction.why,
                "software": reduction.software_version,
            }
        )


class ChannelMapsView(APIView):
    """GET and POST /api/channel-maps/."""

    @extend_schema(responses=OpenApiTypes.OBJECT)
    def get(self, request: Request) -> Response:
        """Saved maps, the newest version of each first."""
        require(actor_of(request).role, Action.SEE_WORK)
        pages = Pages()
        page = pages.paginate_queryset(ChannelMapSaved.objects.all(), request, view=self)
        return pages.get_paginated_response(
            [{"name": m.name, "version": m.version, "entries": m.entries} for m in page or []]
        )

    @extend_schema(request=OpenApiTypes.OBJECT, responses={201: OpenApiTypes.OBJECT})
    def post(self, request: Request) -> Response:
        """{name, entries}: save a map; a changed one becomes its next version."""
        body: Any = request.data if isinstance(request.data, dict) else {}
        saved = channel_map_save(
            actor=actor_of(request),
            name=str(body.get("name", "")),
            entries=body.get("entries"),
            now=now(),
        )
        return Response({"name": saved.name, "version": saved.version}, status=201)


def comparison_asked(request: Request, code: str) -> Comparison:
    """The comparison that a request's query asks for.

    Raises:
        NotFound: the series is not there or not the person's.
        ShapeError: an unknown choice.
    """
    series = series_get(actor=actor_of(request), code=code, action=Action.SEE_WORK)
    query = request.query_params
    return comparison_get(
        series=series,
        metric=query.get("metric", "peak_load"),
        control=query.get("control", "gain"),
        include=query.get("include", "judged"),
        imported=query.get("imported", "with"),
        method=query.get("method", ""),
        at=whole_number(query.get("at"), argument="at"),
    )


_QUERY = [
    OpenApiParameter("metric", str),
    OpenApiParameter("control", str, enum=["gain", "conditioning"]),
    OpenApiParameter("include", str, enum=["judged", "all", "clean", "spotless"]),
    OpenApiParameter("imported", str, enum=["with", "without"]),
    OpenApiParameter("method", str),
    OpenApiParameter("at", int),
]


class ComparisonView(APIView):
    """GET /api/series/{code}/comparison/."""

    @extend_schema(parameters=_QUERY, responses=OpenApiTypes.OBJECT)
    def get(self, request: Request, code: str) -> Response:
        """Groups with n, mean, s, gain and ends, and the names of their controls."""
        return Response(comparison_as_dict(comparison_asked(request, code)))


class ComparisonCsvView(APIView):
    """GET /api/series/{code}/comparison.csv."""

    @extend_schema(parameters=_QUERY, responses={(200, "text/csv"): str})
    def get(self, request: Request, code: str) -> HttpResponse:
        """The same table as CSV, with units and versions in every row."""
        comparison = comparison_asked(request, code)
        sink = io.StringIO()
        csv.writer(sink).writerows(comparison_csv(comparison))
        response = HttpResponse(sink.getvalue(), content_type="text/csv; charset=utf-8")
        name = f"{comparison.series.code}-{comparison.metric}.csv"
        response["Content-Disposition"] = f'attachment; filename="{name}"'
        return response
