"""Work that goes on, for pages that follow it: small JSON that is sent only when it has changed."""

from __future__ import annotations

import hashlib
import uuid
from collections.abc import Mapping
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.cache import get_conditional_response
from django.utils.http import quote_etag
from django.views import View

from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.selectors.record import record_get
from results.selectors.work import (
    person_work,
    predictions_work,
    record_list_work,
    record_work,
    series_work,
    work_page,
)

RECORDS_MAX = 100
TOO_MANY = "{count} records were asked for; allowed are up to {most}, each by its id."


def work_answer(request: HttpRequest, found: Mapping[str, Any]) -> HttpResponse:
    """The JSON with its ETag; 304 without a body where the asker has it already."""
    body = canonical_json(found).encode()
    etag = quote_etag(hashlib.sha256(body).hexdigest()[:32])
    response = HttpResponse(body, content_type="application/json")
    response["ETag"] = etag
    response["Cache-Control"] = "private, no-cache"
    answer = get_conditional_response(request, etag=etag, response=response)
    return response if answer is None else answer


class WorkPage(View):
    """Everything that is being worked on."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        going, ended, more = work_page(actor)
        context = {"work": person_work(actor), "going": going, "ended": ended, "more": more}
        return render(request, "results/work.html", context)


class WorkState(View):
    """The same in a line and by job."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """{words, finished, version, rows}."""
        return work_answer(request, person_work(actor_of(request)))


class RecordWork(View):
    """One record."""

    def get(self, request: HttpRequest, record_id: str) -> HttpResponse:
        """{status, words, next, progress, finished, version}."""
        record = record_get(actor=actor_of(request), record_id=record_id)
        return work_answer(request, record_work(record))


class RecordListWork(View):
    """Some records: those of a list that were not done when it was shown."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """{words, progress, finished, version, rows}; ``?id=…`` once for each record."""
        asked = request.GET.getlist("id")
        try:
            ids = [uuid.UUID(text) for text in asked[: RECORDS_MAX + 1]]
        except ValueError:
            ids = []
        if len(ids) != len(asked) or len(ids) > RECORDS_MAX:
            raise ShapeError("work.records", TOO_MANY.format(count=len(asked), most=RECORDS_MAX))
        return work_answer(request, record_list_work(actor=actor_of(request), ids=ids))


class SeriesWork(View):
    """Reductions and predictions of a series."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """{words, finished, version}."""
        return work_answer(
            request, series_work(series_get(actor_of(request), code, Action.SEE_WORK))
        )


class PredictionsWork(View):
    """The predictions of a series."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """{status, words, progress, finished, version}."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        return work_answer(request, predictions_work(series))
