"""The plate of a series."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Factor, Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from results.selectors.first_steps import next_of
from results.selectors.imported import IMPORTED_CHOICES
from results.selectors.metric_choice import DEFAULT_METRIC, metrics_offered
from results.selectors.plate import Plate, plate_get
from results.selectors.plate_table import plate_as_table
from results.selectors.takeaway import origin_said
from results.selectors.work import series_work
from results.takeaway.tables import TABLE_TYPES, table_as
from results.takeaway.wording import file_name
from results.views.takeaway import file_answer, units_asked

LEGEND = (
    ("hardening", "hardening"),
    ("waiting", "waiting"),
    ("exposed", "exposed"),
    ("sustained", "under sustained load"),
    ("cycling", "cycling"),
    ("in-a-machine", "in a machine"),
)
ONLY = "only_"


def layout_of(given: QueryDict) -> str:
    """What of an address lays the plate out, for the addresses that lead back to it."""
    kept = {
        name: value
        for name, value in given.items()
        if value and (name in ("across", "down", "metric", "imported") or name.startswith(ONLY))
    }
    return urlencode(kept)


def _asked(given: QueryDict, factors: Sequence[Factor]) -> dict[str, Any]:
    metric, _, method = given.get("metric", DEFAULT_METRIC).partition("|")
    only = {f.name: given.get(f"{ONLY}{place}", "") for place, f in enumerate(factors)}
    return {
        "across": given.get("across", ""),
        "down": given.get("down", ""),
        "metric": metric,
        "method": method,
        "imported": given.get("imported", "with"),
        "only": {name: value for name, value in only.items() if value},
    }


class PlatePage(View):
    """The matrix as a picture."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page; a choice that makes no sense is said above the default plate."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_WORK)
        factors = list(series.factors.order_by("position"))
        asked = _asked(request.GET, factors)
        problem, at = "", now()
        try:
            plate = plate_get(series=series, now=at, **asked)
        except ShapeError as error:
            problem = error.message
            plate = plate_get(series=series, now=at)
        role = programme_role(actor, series.programme)
        context = {
            "series": series,
            "plate": plate,
            "problem": problem,
            "factors": factors,
            "filters": _filters(plate, factors),
            "imported_choices": IMPORTED_CHOICES,
            "offered": metrics_offered(series),
            "chosen": f"{plate.comparison.metric}|{asked['method'] if not problem else ''}",
            "words": plate.comparison.metric.replace("_", " "),
            "total": sum(plate.counts.values()),
            "legend": LEGEND,
            "table": plate_as_table(plate),
            "work": series_work(series),
            "work_url": reverse("results:series-work", args=[series.code]),
            "layout": layout_of(request.GET) if not problem else "",
            "may_plan": allowed(role, Action.PLAN_MATRIX),
            "next_step": None if plate.counts else next_of(series, role),
            "shown_said": _shown_said(plate, series),
        }
        return render(request, "results/plate.html", context, status=400 if problem else 200)


class PlateTable(View):
    """The plate as a table to take away, laid out as the address says."""

    def get(self, request: HttpRequest, code: str, kind: str) -> HttpResponse:
        """The file."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        factors = list(series.factors.order_by("position"))
        plate = plate_get(series=series, now=now(), **_asked(request.GET, factors))
        tables = {"plate": plate_as_table(plate)}
        content = table_as(kind, tables, origin_said(plate.comparison, now()), units_asked(request))
        name = file_name(code, plate.comparison.metric, "plate", ending=kind)
        return file_answer(content, TABLE_TYPES[kind], name)


def _filters(plate: Plate, factors: Sequence[Factor]) -> list[dict[str, Any]]:
    places = {factor.pk: place for place, factor in enumerate(factors)}
    return [{"name": f"{ONLY}{places[f.factor.pk]}", "filter": f} for f in plate.filters]


def _shown_said(plate: Plate, series: Series) -> str:
    """Which part of the series is on the plate, in words; empty for all of it."""
    chosen = [(f.factor, f.chosen) for f in plate.filters if f.chosen is not None]
    if not chosen:
        return ""
    said = ", ".join(
        f"{factor.name} {level.shown} {factor.unit}".strip() for factor, level in chosen
    )
    return f"Only {said} of {series.code}"
