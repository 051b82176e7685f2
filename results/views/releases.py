"""Releases of a series, one release, and progress against the plan."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.programme import programme_get, programme_role
from labmatrix.matrix.selectors.series import series_get
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, Role, allowed
from labmatrix.web.models import Person
from labmatrix.web.refused import refuse, status_shown
from results.domain.sponsor_view import PROGRESS_FIELDS, as_sponsor
from results.release_forms import ReleaseForm
from results.release_tables import release_context
from results.selectors.first_steps import FirstStep, first_steps_of
from results.selectors.metric_choice import DEFAULT_METRIC, metrics_offered
from results.selectors.progress import progress_list
from results.selectors.release import (
    release_as_seen,
    release_get,
    release_get_latest,
    release_list_latest,
    release_list_of_series,
)
from results.services.release import release_make

_GIVEN = ("scope", "why", "control", "include", "imported")


def _role(actor: Person, series: Series) -> Role:
    """The person's part; the series was read for them before, so there is one."""
    role = programme_role(actor, series.programme)
    if role is None:
        raise NotFound("access.not-yours", "It is not there, or it is not yours.")
    return role


class ReleasesPage(View):
    """The versions of a series; a lead releases the next one here."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_PROGRAMME)
        form = None
        if allowed(_role(actor, series), Action.RELEASE):
            latest = release_get_latest(series)
            first = {"scope": latest.scope if latest else "Valid for ", "include": "judged"}
            first |= {"imported": "with"}
            chosen = {"metrics": [f"{DEFAULT_METRIC}|"]} if latest is None else _asked(latest.what)
            form = ReleaseForm(initial=first | chosen, offered=metrics_offered(series))
        return self._page(request, series, form)

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        """Release the next version, or say why not."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.RELEASE)
        form = ReleaseForm(request.POST, offered=metrics_offered(series))
        if not form.is_valid():
            return self._page(request, series, form)
        given = {name: form.cleaned_data[name] for name in _GIVEN}
        try:
            release = release_make(
                actor=actor, series=series, metrics=form.metrics_asked(), now=now(), **given
            )
        except UserError as error:
            refuse(form, error, "scope" if error.code == "release.scope" else None)
            return self._page(request, series, form)
        messages.success(request, f"Version {release.version} of {series.code} is released.")
        return redirect("results:release", release.pk)

    def _page(self, request: HttpRequest, series: Series, form: ReleaseForm | None) -> HttpResponse:
        found = release_list_of_series(series)
        context = {
            "series": series,
            "releases": found,
            "form": form,
            "next_version": found[0].version + 1 if found else 1,
            "next_step": _before_release(series) if form is not None and not found else None,
        }
        if series.programme.is_invented:
            context["invented_data_notice"] = True
        status = status_shown(request, form) if form is not None else 200
        return render(request, "results/releases.html", context, status=status)


def _before_release(series: Series) -> FirstStep | None:
    """What is to be done before there is anything to release; None where there is something."""
    steps = first_steps_of(series)
    return None if steps.has_numbers else steps.next


def _asked(what: dict[str, Any]) -> dict[str, Any]:
    """What was released before, as the form's first choice."""
    metrics = [f"{one['metric']}|{one['method']}" for one in what["metrics"]]
    asked = {"metrics": metrics, "control": what["control"], "include": what["include"]}
    return asked | {"imported": what.get("imported", "without")}


class ReleasePage(View):
    """One released version, as the person may see it."""

    def get(self, request: HttpRequest, release_id: str) -> HttpResponse:
        """The page."""
        release, role = release_get(actor_of(request), release_id)
        seen = release_as_seen(release, role)
        context = release_context(seen) | {"series": release.series}
        if seen["is_invented"]:
            context["invented_data_notice"] = True
        return render(request, "results/release.html", context)


class ProgressPage(View):
    """A series against its plan, and the latest released results."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.SEE_PROGRAMME)
        [progress] = (as_sponsor(one, PROGRESS_FIELDS) for one in progress_list([series]))
        latest = release_get_latest(series)
        context: dict[str, Any] = {"series": series, "progress": _said(progress), "today": now()}
        if latest is not None:
            context |= release_context(release_as_seen(latest, _role(actor, series)))
        if series.programme.is_invented:
            context["invented_data_notice"] = True
        return render(request, "results/progress.html", context)


class ProgrammeProgressPage(View):
    """Every series of a programme against its plan, with its latest release."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        programme = programme_get(actor_of(request), code, Action.SEE_PROGRAMME)
        series = list(Series.objects.filter(programme=programme).select_related("programme"))
        latest = release_list_latest(series)
        rows = [
            {"progress": as_sponsor(one, PROGRESS_FIELDS), "latest": latest.get(key.pk)}
            for key, one in zip(series, progress_list(series), strict=True)
        ]
        context: dict[str, Any] = {"programme": programme, "rows": rows, "today": now()}
        if programme.is_invented:
            context["invented_data_notice"] = True
        return render(request, "results/programme_progress.html", context)


def _said(progress: dict[str, Any]) -> dict[str, Any]:
    """The counts with a table of the cells."""
    table = {
        "caption": "Specimens by cell, as of today.",
        "columns": [
            {"label": "Cell", "kind": "text"},
            {"label": "Levels", "kind": "text"},
            {"label": "Planned", "digits": 6},
            {"label": "Made", "digits": 6},
            {"label": "In progress", "digits": 6},
            {"label": "Ended", "digits": 6},
        ],
        "rows": [
            [
                cell["cell"],
                ", ".join(f"{name} {level}" for name, level in cell["levels"].items()),
                cell["planned"],
                cell["made"],
                cell["in_progress"],
                cell["ended"],
            ]
            for cell in progress["cells"]
        ],
    }
    return progress | {"table": table}
