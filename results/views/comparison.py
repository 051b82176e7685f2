"""The comparison of a series: table, overlays, and what to take away."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.numerals import column_places
from labmatrix.web.domain.roles import Action
from results.api import whole_number
from results.comparison_tables import retention_context
from results.domain.moved_numbers import whose
from results.figures import load_deflection_overlay, stiffness_overlay
from results.presenters import words_of
from results.selectors.comparison import CONTROLS, INCLUDES, Comparison, comparison_get
from results.selectors.comparison_both import (
    IMPORTED_CAPTION,
    both_table,
    comparison_both,
    comparison_imported,
    small_n_said,
)
from results.selectors.failure_mode import failure_mode_list
from results.selectors.first_steps import next_of
from results.selectors.imported import IMPORTED_CHOICES
from results.selectors.metric_choice import DEFAULT_METRIC, cycles_offered, metrics_offered
from results.selectors.retention import retention_list
from results.selectors.retention_json import retention_as_dict
from results.selectors.snapshot import LOAD_CAPTION, STIFFNESS_CAPTION
from results.selectors.work import series_work
from results.views.takeaway import units_name

SAME_AXES = " The axes hold every specimen of the series, whichever are chosen."


def _asked(request: HttpRequest) -> dict[str, Any]:
    metric, _, method = request.GET.get("metric", DEFAULT_METRIC).partition("|")
    return {
        "metric": metric,
        "method": method or request.GET.get("method", ""),
        "control": request.GET.get("control", "gain"),
        "include": request.GET.get("include", "judged"),
        "imported": request.GET.get("imported", "with"),
        "at": whole_number(request.GET.get("at"), argument="at"),
    }


class ComparisonPage(View):
    """One metric by cell, with gain against the named control, and the curves behind it."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page; a choice that makes no sense is said above the default table."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_WORK)
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
        context |= _both(table) | _with_and_without(table, asked) | {"problem": problem}
        if not context["n"] and not table.imported_codes:
            context["next_step"] = next_of(series, programme_role(actor, series.programme))
        return render(request, "results/comparison.html", context, status=400 if problem else 200)

    def _context(self, series: Series, asked: dict[str, Any], table: Comparison) -> dict[str, Any]:
        given = {name: value for name, value in asked.items() if value not in ("", None)}
        offered = metrics_offered(series)
        load = load_deflection_overlay(series, set(table.kept))
        stiffness = stiffness_overlay(series, set(table.kept))
        modes = failure_mode_list(series, table.kept)
        retained = retention_as_dict(table, retention_list(table), modes)
        context = {
            "series": series,
            "work": series_work(series),
            "work_url": reverse("results:series-work", args=[series.code]),
            "comparison": table,
            "retention": retention_context(retained),
            "unit": table.unit or "1",
            "words": words_of(table.metric),
            "offered": offered,
            "cycles": cycles_offered(series, table.metric),
            "chosen": _chosen(offered, table),
            "controls": CONTROLS,
            "control_words": CONTROLS[table.control],
            "includes": INCLUDES,
            "imported_choices": IMPORTED_CHOICES,
            "query": urlencode(given),
            "figure_query": urlencode(
                given | {"units": units_name(actor_of(self.request).unit_system)}
            ),
            "places": _places(table),
            "n": table.n,
            "n_imported": table.n_imported,
            "has_sub_samples": any(row.group.sub_samples > row.group.n for row in table.rows),
            "load": load,
            "load_caption": LOAD_CAPTION.format(whose=whose(load.n, load.cells)) + SAME_AXES,
            "stiffness": stiffness,
            "stiffness_caption": STIFFNESS_CAPTION.format(
                whose=whose(stiffness.n, stiffness.cells)
            ),
        }
        if series.programme.is_invented:
            context["invented_data_notice"] = True
        return context


def _both(table: Comparison) -> dict[str, Any]:
    """The same with and without the specimens that have deviations."""
    both = comparison_both(
        series=table.series,
        metric=table.metric,
        control=table.control,
        method=table.method,
        at=table.at,
        imported=table.imported,
    )
    words, control = words_of(table.metric), CONTROLS[table.control]
    table_of_both = both_table(both, words, control)
    return {"both": both, "both_table": table_of_both, "small_n": small_n_said(both)}


def _with_and_without(table: Comparison, asked: Mapping[str, Any]) -> dict[str, Any]:
    """The same with and without imported numbers, where there are any."""
    if not table.imported_codes:
        return {"imported_table": None}
    both = comparison_imported(table, asked.get("method", ""))
    words, control = words_of(table.metric), CONTROLS[table.control]
    return {"imported_table": both_table(both, words, control, IMPORTED_CAPTION)}


def _chosen(offered: Sequence[Mapping[str, str]], table: Comparison) -> str:
    """The choice that the table is of; without its method where only the name was asked for."""
    exact = f"{table.metric}|{table.method}"
    values = [option["value"] for option in offered]
    alike = (value for value in values if value.startswith(f"{table.metric}|"))
    return exact if exact in values else next(alike, "")


def _places(table: Comparison) -> int:
    """Decimals for every mean, control mean and scatter, so that rows can be compared."""
    means = [row.group.mean for row in table.rows if row.group.mean is not None]
    return min(column_places(means) or 0, 6)
