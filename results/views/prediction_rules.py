"""By which rules and limits a series is predicted: read by all who work on it, chosen by a lead."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.models import Person
from labmatrix.web.refused import status_shown
from results.calculator_api import NOT_FOR_WORKS
from results.prediction_rules_forms import PredictionRulesForm
from results.selectors.prediction_rules import rules_as_dict
from results.services.prediction_rules import prediction_rules_choose

CHOSEN = "The rules of {series} are chosen. Predictions made before are stale: predict again."


class PredictionRulesPage(View):
    """The rules of a series, with the form for a lead."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_WORK)
        told = rules_as_dict(series)
        return _page(request, actor, series, PredictionRulesForm(told["options"]))

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        """Keep a choice, or say beside the form what is off."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.PLAN_MATRIX)
        form = PredictionRulesForm(rules_as_dict(series)["options"], request.POST)
        if form.is_valid():
            try:
                prediction_rules_choose(
                    actor=actor,
                    series=series,
                    options=form.options(),
                    why=form.cleaned_data["why"],
                    now=now(),
                )
            except UserError as error:
                form.refuse(error)
            else:
                messages.success(request, CHOSEN.format(series=series.code))
                return redirect("results:predictions", code=series.code)
        return _page(request, actor, series, form)


def _page(
    request: HttpRequest,
    actor: Person,
    series: Series,
    form: PredictionRulesForm,
) -> HttpResponse:
    context = {
        "series": series,
        "told": rules_as_dict(series),
        "form": form,
        "may_choose": allowed(programme_role(actor, series.programme), Action.PLAN_MATRIX),
        "note": NOT_FOR_WORKS,
    }
    status = status_shown(request, form)
    return render(request, "results/prediction_rules.html", context, status=status)
