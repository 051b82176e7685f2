"""Predictions of a series, the calculation sheet of one, and the sheet before a test."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.models import Person
from results.calculation_sheet import steps_by_part
from results.calculator_api import NOT_FOR_WORKS
from results.domain.materials.resolve import shown_value
from results.models import Prediction
from results.prediction_figures import predicted_payload, predicted_table
from results.selectors.pre_test import pre_test_get
from results.selectors.prediction import (
    materials_said,
    prediction_before,
    prediction_changes,
    prediction_get,
    prediction_list_of_cells,
    prediction_list_of_specimens,
    prediction_of_specimen,
)
from results.selectors.work import OPEN, predictions_work
from results.services.prediction import prediction_is_stale, prediction_job, predictions_make
from specimens.models import Specimen
from specimens.selectors.access import specimen_get


def _row(code: str, prediction: Prediction | None, **more: Any) -> dict[str, Any]:
    return {"code": code, "prediction": prediction, **more}


class SeriesPredictions(View):
    """What every cell and specimen of a series is expected to do."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_WORK)
        return render(request, "results/predictions.html", _series_context(actor, series))

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        """Ask for predictions of all of them."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.ASK_PREDICTION)
        try:
            why = request.POST.get("why", "") or "asked for on the page"
            predictions_make(actor=actor, series=series, why=why, now=now())
        except UserError as error:
            messages.error(request, error.message)
        return redirect("results:predictions", code=series.code)


def _first(series: Series) -> list[tuple[str, str]]:
    """What a prediction waits for: words and address of the page that does it."""
    code = [series.code]
    waits = [
        (series.member, "Say what a specimen is made of", reverse("matrix:member-edit", args=code)),
        (series.cells.exists(), "Plan the matrix", reverse("matrix:series-detail", args=code)),
        (series.route, "Say what is done to a specimen", reverse("matrix:route-edit", args=code)),
    ]
    return [(words, url) for has, words, url in waits if not has]


def _series_context(actor: Person, series: Series) -> dict[str, Any]:
    cells, specimens = prediction_list_of_cells(series), prediction_list_of_specimens(series)
    job = prediction_job(series)
    members = Specimen.objects.filter(cell__series=series).select_related("cell", "state")
    return {
        "series": series,
        "cells": [_row(c.code, cells.get(c.pk)) for c in series.cells.order_by("id")],
        "specimens": [
            _row(s.code, specimens.get(s.pk), stage=s.state.stage)
            for s in members.order_by("cell_id", "number")
        ],
        "job": job,
        "is_running": job is not None and job.state in OPEN,
        "work": predictions_work(series),
        "may_ask": allowed(programme_role(actor, series.programme), Action.ASK_PREDICTION),
        "note": NOT_FOR_WORKS,
        "first": _first(series),
    }


def _changes_table(prediction: Prediction, before: Prediction) -> dict[str, Any] | None:
    """What is otherwise than in the prediction before; None for nothing."""
    changes = prediction_changes(prediction, before)
    if not changes:
        return None
    labels = ("What", "Before", "Now", "Because")
    return {
        "caption": "Values, rules and outcome that are otherwise.",
        "columns": [{"label": label, "kind": "text"} for label in labels],
        "rows": [[c.what, c.before, c.after, c.why or "–"] for c in changes],
    }


class PredictionPage(View):
    """The calculation sheet of one prediction: every step, clause and number."""

    def get(self, request: HttpRequest, prediction_id: str) -> HttpResponse:
        """The page."""
        prediction = prediction_get(actor=actor_of(request), prediction_id=prediction_id)
        drawn = not prediction.error
        before = prediction_before(prediction)
        context = {
            "prediction": prediction,
            "series": prediction.cell.series,
            "outcome": prediction.outcome,
            "parts": steps_by_part(prediction.sheet.get("steps", [])),
            "payload": predicted_payload(prediction) if drawn else None,
            "table": predicted_table(prediction) if drawn else None,
            "is_stale": prediction.is_current and prediction_is_stale(prediction),
            "before": before,
            "changes": _changes_table(prediction, before) if before and drawn else None,
            "materials_words": materials_said(prediction),
            "used": [(name, shown_value(e["value"]), e) for name, e in prediction.used.items()],
            "note": NOT_FOR_WORKS,
        }
        return render(request, "results/prediction.html", context)


class PreTestPage(View):
    """What to expect and to set before a specimen is tested, for a person to sign."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        specimen = specimen_get(actor=actor_of(request), code=code)
        prediction = prediction_of_specimen(specimen)
        known = prediction is not None and not prediction.error
        context = {
            "specimen": specimen,
            "series": specimen.cell.series,
            "prediction": prediction,
            "outcome": prediction.outcome if prediction else {},
            "sheet": pre_test_get(prediction) if prediction and known else None,
            "payload": predicted_payload(prediction) if prediction and known else None,
            "table": predicted_table(prediction) if prediction and known else None,
            "is_stale": prediction is not None and prediction_is_stale(prediction),
            "materials_words": materials_said(prediction) if prediction else "",
            "note": NOT_FOR_WORKS,
        }
        return render(request, "results/pre_test.html", context)
