"""The comparison of a series: table, overlays, and what to take away."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.api import whole_number
from results.figures import load_deflection_overlay, stiffness_overlay
from results.selectors.comparison import CONTROLS, INCLUDES, Comparison, comparison_get
from results.selectors.metric_choice import DEFAULT_METRIC, metrics_offered


def _asked(request: HttpRequest) -> dict[str, Any]:
    metric, _, method = request.GET.get("metric", DEFAULT_METRIC).partition("|")
    return {
        "metric": metric,
        "method": method or request.GET.get("method", ""),
        "control": request.GET.get("control", "gain"),
        "include": request.GET.get("include", "judged"),
        "at": whole_number(request.GET.get("at"), argument="at"),
    }


class ComparisonPage(View):
    """One metric by cell, with gain against the named control, and the curves behind it."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page; a choice that makes no sense is said above the default table."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        asked: dict[str, Any] = {"metric": DEFAULT_METRIC}
        problem = ""
        try:
            asked = _asked(request)
            table = comparison_get(series=series, **asked)
        except ShapeError as error:
            problem = error.message
            asked = {"metric": DEFAULT_METRIC}
            table = comparison_get(series=series, **asked)
        context = self._context(series, asked, table)
        context["problem"] = problem
        return render(request, "results/comparison.html", context, status=400 if problem else 200)

    def _context(self, series: Series, asked: dict[str, Any], table: Comparison) -> dict[str, Any]:
        load, load_table = load_deflection_overlay(series)
        stiffness, stiffness_table = stiffness_overlay(series)
        given = {name: value for name, value in asked.items() if value not in ("", None)}
        return {
            "series": series,
            "comparison": table,
            "words": table.metric.replace("_", " "),
            "offered": metrics_offered(series),
            "chosen": f"{table.metric}|{asked.get('method', '')}",
            "asked": asked,
            "controls": CONTROLS,
            "includes": INCLUDES,
            "query": urlencode(given),
            "load": load,
            "load_table": load_table,
            "stiffness": stiffness,
            "stiffness_table": stiffness_table,
        }
