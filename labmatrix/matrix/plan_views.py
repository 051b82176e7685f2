"""Pages on which a lead says what a series' specimens are made of and what is done to them."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from labmatrix.kernel.clock import now
from labmatrix.matrix.form_page import form_page
from labmatrix.matrix.plan_forms import MemberSaysForm, references_offered
from labmatrix.matrix.route_forms import RouteForm
from labmatrix.matrix.selectors.plan_change import plan_change_list
from labmatrix.matrix.selectors.series import series_get, series_get_factors
from labmatrix.matrix.services.series import series_change, series_subject
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action
from labmatrix.web.refused import sent

BOTH = ["GET", "POST"]


def _url(code: str) -> str:
    return reverse("matrix:series-detail", args=[code])


@require_http_methods(BOTH)
def member_edit(request: HttpRequest, code: str) -> HttpResponse:
    """What a specimen is made of, as specified: a field for each thing."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    form = MemberSaysForm(sent(request), series)

    def write() -> tuple[str, str]:
        series_change(
            actor=actor,
            series=series,
            member=form.member(),
            why=form.cleaned_data["why"],
            seen={"member": form.cleaned_data["seen"]},
            now=now(),
        )
        return f"What a specimen of {code} is made of is kept.", _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        template="matrix/member_form.html",
        title=f"What a specimen of {code} is made of",
        about="As specified; what is measured later on a specimen takes its place.",
        back_label=code,
        series=series,
        changes=plan_change_list(series_subject(series)),
    )


@require_http_methods(BOTH)
def route_edit(request: HttpRequest, code: str) -> HttpResponse:
    """What is done to a specimen, step by step: a row for each."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    factors = series_get_factors(series)
    wants_row = "more" in request.POST
    form = RouteForm(sent(request), series, factors)

    def write() -> tuple[str, str]:
        series_change(
            actor=actor,
            series=series,
            route=form.route(),
            why=form.cleaned_data["why"],
            seen={"route": form.cleaned_data["seen"]},
            now=now(),
        )
        return f"The route of {code} is kept; it counts for labels made from now on.", _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        asks_more=wants_row,
        template="matrix/route_form.html",
        title=f"What is done to a specimen of {code}",
        about="Step by step, from the mould to the test. One route for the whole series: where "
        "cells differ, a step takes the cell's level, or is left out.",
        back_label=code,
        series=series,
        factors=factors,
        references=references_offered(factors),
        changes=plan_change_list(series_subject(series)),
    )
