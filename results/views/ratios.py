"""Measured over predicted strength of a series."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from results.domain.comparison.model_error import PUBLISHED, RatioGroup
from results.prediction_figures import ratio_payload
from results.selectors.comparison import INCLUDES
from results.selectors.model_error import RatioRow, Ratios, ratios_get
from results.selectors.ratio_samples import VALUES


def _group_table(caption: str, head: str, groups: Sequence[RatioGroup]) -> dict[str, Any]:
    return {
        "caption": caption,
        "columns": [
            {"label": head, "kind": "text"},
            {"label": "n", "digits": 6},
            {"label": "Mean", "unit": "1", "digits": 3},
            {"label": "s", "unit": "1", "digits": 2},
            {"label": "COV", "unit": "1", "digits": 2},
            {"label": "Lower bounds left out", "digits": 6},
        ],
        "rows": [[g.name, g.n, g.mean, g.s, g.cov, g.left_out] for g in groups],
    }


def _row(row: RatioRow) -> list[Any]:
    ratio = row.ratio
    sheet = reverse("results:prediction", args=[row.prediction.id])
    measured = reverse("results:metric", args=[row.metric_id])
    return [
        {"value": ratio.specimen, "url": reverse("results:life", args=[ratio.specimen])},
        ratio.cell,
        {"value": row.peak_kn, "url": measured},
        ratio.measured_knm,
        {"value": ratio.predicted_knm, "url": sheet},
        {"value": ratio.value, "bound": "lower" if ratio.is_bound else ""},
        ratio.mode,
        "conditioned" if ratio.is_conditioned else "not conditioned",
    ]


def _specimen_table(found: Ratios) -> dict[str, Any]:
    return {
        "caption": "Measured and predicted strength of each broken specimen.",
        "columns": [
            {"label": "Specimen", "kind": "text"},
            {"label": "Cell", "kind": "text"},
            {"label": "Peak load", "unit": "kN"},
            {"label": "Measured moment", "unit": "kN·m"},
            {"label": "Predicted moment", "unit": "kN·m"},
            {"label": "Ratio", "unit": "1", "digits": 3},
            {"label": "Predicted mode", "kind": "text"},
            {"label": "Before the test", "kind": "text"},
        ],
        "rows": [_row(row) for row in found.rows],
    }


def _other(series: Series, found: Ratios) -> dict[str, Any]:
    """The same members predicted in the other way, in one row beside this one."""
    [name] = [values for values in VALUES if values != found.values]
    other = ratios_get(series=series, include=found.include, values=name)
    rows = [
        [values, g.name, g.n, g.mean, g.s, g.cov]
        for values, ratios in ((found.values, found), (name, other))
        for g in (ratios.sound, ratios.every)
    ]
    return {
        "caption": "With measured and with specified values; neither is fitted to anything.",
        "columns": [
            {"label": "Predicted with", "kind": "text"},
            {"label": "Members", "kind": "text"},
            {"label": "n", "digits": 6},
            {"label": "Mean", "unit": "1", "digits": 3},
            {"label": "s", "unit": "1", "digits": 2},
            {"label": "COV", "unit": "1", "digits": 2},
        ],
        "rows": rows,
    }


class RatiosPage(View):
    """The ratio by specimen, cell and mode, with the published one beside it."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page; a choice that makes no sense is said above the default tables."""
        series = series_get(actor_of(request), code, Action.SEE_WORK)
        problem, include = "", request.GET.get("include", "judged")
        try:
            values = request.GET.get("values", "")
            found = ratios_get(series=series, include=include, values=values)
        except ShapeError as error:
            problem = error.message
            found = ratios_get(series=series)
        context = {
            "series": series,
            "found": found,
            "problem": problem,
            "published": PUBLISHED,
            "includes": INCLUDES,
            "chosen": INCLUDES[found.include],
            "values": VALUES,
            "values_words": VALUES[found.values],
            "other": _other(series, found),
            "whole": _group_table(
                "All members, and those that were not conditioned.",
                "Members",
                (found.sound, found.every),
            ),
            "cells": _group_table("By cell.", "Cell", found.cells),
            "modes": _group_table("By governing mode as predicted.", "Mode", found.modes),
            "payload": ratio_payload(found),
            "table": _specimen_table(found),
        }
        return render(
            request, "results/test_to_prediction.html", context, status=400 if problem else 200
        )
