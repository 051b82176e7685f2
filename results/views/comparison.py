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
from results.models import Metric
from results.selectors.comparison import CONTROLS, INCLUDES, Comparison, comparison_get

_DEFAULT_METRIC = "peak_load"


def _offered(series: Series) -> list[dict[str, str]]:
    """Metrics that the series has, by name and method, with the words for a choice."""
    pairs = (
        Metric.objects.filter(
            reduction__is_current=True,
            reduction__record__subject__programme_code=series.programme.code,
        )
        .order_by("name", "method")
        .values_list("name", "method")
        .distinct()
    )
    found = {(name, method) for name, method in pairs}
    return [
        {
            "value": f"{name}|{method}",
            "words": f"{name.replace('_', ' ')}{f' ({method})' if method else ''}",
        }
        for name, method in sorted(found | {(_DEFAULT_METRIC, "")})
    ]


def _asked(request: HttpRequest) -> dict[str, Any]:
    metric, _, method = request.GET.get("metric", _DEFAULT_METRIC).partition("|")
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
        asked: dict[str, Any] = {"metric": _DEFAULT_METRIC}
        problem = ""
        try:
            asked = _asked(request)
            table = comparison_get(series=series, **asked)
        except ShapeError as error:
            problem = error.message
            asked = {"metric": _DEFAULT_METRIC}
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
            "offered": _offered(series),
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
