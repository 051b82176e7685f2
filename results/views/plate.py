"""The plate of a series."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.selectors.metric_choice import DEFAULT_METRIC, metrics_offered
from results.selectors.plate import plate_get
from results.selectors.plate_table import plate_as_table
from results.selectors.work import series_work

LEGEND = (
    ("hardening", "hardening"),
    ("waiting", "waiting"),
    ("exposed", "exposed"),
    ("sustained", "under sustained load"),
    ("cycling", "cycling"),
    ("in-a-machine", "in a machine"),
)


class PlatePage(View):
    """The matrix as a picture."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page; a choice that makes no sense is said above the default plate."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        metric, _, method = request.GET.get("metric", DEFAULT_METRIC).partition("|")
        asked: dict[str, Any] = {
            "across": request.GET.get("across", ""),
            "down": request.GET.get("down", ""),
        }
        problem, at = "", now()
        try:
            plate = plate_get(series=series, now=at, metric=metric, method=method, **asked)
        except ShapeError as error:
            problem = error.message
            plate = plate_get(series=series, now=at)
        context = {
            "series": series,
            "plate": plate,
            "problem": problem,
            "factors": series.factors.order_by("position"),
            "offered": metrics_offered(series),
            "chosen": f"{plate.comparison.metric}|{method if not problem else ''}",
            "words": plate.comparison.metric.replace("_", " "),
            "total": sum(plate.counts.values()),
            "legend": LEGEND,
            "table": plate_as_table(plate),
            "work": series_work(series),
            "work_url": reverse("results:series-work", args=[series.code]),
        }
        return render(request, "results/plate.html", context, status=400 if problem else 200)
