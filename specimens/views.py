"""Pages about specimens."""

from __future__ import annotations

from typing import Any
from urllib.parse import urlencode

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.matrix.links import Place, links_for
from labmatrix.matrix.selectors.programme import programme_list_visible
from labmatrix.matrix.selectors.series import series_get, series_list_visible
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, Role, allowed
from labmatrix.web.models import Person
from labmatrix.web.refused import refuse, sent, status_shown
from specimens.domain.member_words import member_said
from specimens.domain.wording import payload_said
from specimens.forms import MeasuredForm
from specimens.selectors.access import programme_roles, specimen_get
from specimens.selectors.event import people_names
from specimens.selectors.event_page import UNNAMED, sheet_events
from specimens.selectors.lot import lots_shown
from specimens.selectors.sheet import EVENTS_SHOWN, SpecimenSheet, specimen_sheet
from specimens.selectors.specimen import (
    SpecimenFilter,
    cell_list_unfilled,
    location_list_of,
    specimen_ages,
    specimen_list_ids,
    specimen_list_page,
    specimen_list_stages,
    specimen_reference_instant,
)
from specimens.services.specimen import specimen_measured_set, specimens_create_planned

ROWS_ON_A_PAGE = 100
LABELS_ON_A_PAGE = 500


def _wanted(request: HttpRequest) -> SpecimenFilter:
    names = ("programme", "series", "cell", "stage", "code")
    return SpecimenFilter(**{name: request.GET.get(name, "") for name in names})


def _may_create(actor: Person, programme_code: str) -> bool:
    return allowed(programme_roles(actor).get(programme_code), Action.CREATE_SPECIMEN)


def _query(wanted: SpecimenFilter, **more: str) -> str:
    named = {"programme": wanted.programme, "series": wanted.series, "cell": wanted.cell}
    pairs = {**named, "stage": wanted.stage, "code": wanted.code, **more}
    return urlencode({name: value for name, value in pairs.items() if value})


def _without(wanted: SpecimenFilter) -> list[dict[str, str]]:
    """What the list is narrowed to, each with the address of the list without it."""
    found = []
    for name in ("programme", "series", "cell", "stage"):
        value = getattr(wanted, name)
        if value:
            found.append({"name": name, "value": value, "query": _query(wanted, **{name: ""})})
    return found


@require_GET
def specimen_list(request: HttpRequest) -> HttpResponse:
    """Specimens of a programme, a series or a cell."""
    actor, instant, wanted = actor_of(request), now(), _wanted(request)
    ids = specimen_list_ids(actor=actor, wanted=wanted)
    page = Paginator(ids, ROWS_ON_A_PAGE).get_page(request.GET.get("page"))
    rows = []
    for specimen in specimen_list_page(list(page.object_list)):
        at = specimen_reference_instant(specimen, None, instant)
        rows.append({"specimen": specimen, "ages": specimen_ages(specimen, at)})
    series = series_list_visible(actor).filter(code=wanted.series).first()
    context = {
        "rows": rows,
        "page": page,
        "wanted": wanted,
        "narrowed": _without(wanted),
        "query": _query(wanted),
        "stages": specimen_list_stages(ids),
        "series": series,
        "all_series": [] if wanted.series else list(series_list_visible(actor).order_by("code")),
        # Said on an empty list alone, so asked for there alone.
        "may_choose": not rows
        and any(allowed(role, Action.CREATE_SPECIMEN) for role in programme_roles(actor).values()),
        "may_create": series is not None and _may_create(actor, series.programme.code),
    }
    return render(request, "specimens/specimen_list.html", context)


def _hazards(sheet: SpecimenSheet) -> list[str]:
    """Cautions that the specimen's present state calls for."""
    life = sheet.life
    found = []
    if life.open_run is not None:
        found.append("cycling")
    if life.sustained is not None:
        found.append("sustained")
    breaks = any(stage.kind == "break" and stage.state != "done" for stage in sheet.progress)
    if breaks and life.exists and not life.end and life.open_run is None:
        found.append("test-to-failure")
    return found


@require_GET
def specimen_detail(request: HttpRequest, code: str) -> HttpResponse:
    """One specimen: cell, route, ages, deviations, events."""
    actor = actor_of(request)
    number = request.GET.get("events", "1")
    page = int(number) if number.isascii() and number.isdigit() and len(number) < 7 else 1
    skip = (max(page, 1) - 1) * EVENTS_SHOWN
    sheet = specimen_sheet(actor=actor, code=code, now=now(), skip=skip)
    names = people_names({row.judged_by for row in sheet.deviations})
    role: Role | None = sheet.role
    specimen = sheet.specimen
    context: dict[str, Any] = {
        "sheet": sheet,
        "specimen": specimen,
        "series": specimen.cell.series,
        "state": specimen.state,
        "levels": [(e.factor, e.level) for e in specimen.cell.cell_levels.all()],
        "events": sheet_events(sheet),
        "deviations": [(row, names.get(row.judged_by, UNNAMED)) for row in sheet.deviations],
        "route": [(stage, payload_said(stage.settings)) for stage in sheet.progress],
        "hazards": _hazards(sheet),
        "lots": lots_shown(specimen),
        "links": links_for(Place.SPECIMEN, role, specimen.code),
        "member": member_said(specimen.member_as_known).items(),
        "measured_names": set(specimen.measured),
        "older": max(page, 1) + 1 if len(sheet.order) > skip + EVENTS_SHOWN else None,
        "newer": page - 1 if page > 1 else None,
        "may_log": allowed(role, Action.LOG_EVENT),
        "may_judge": allowed(role, Action.JUDGE),
        "may_measure": allowed(role, Action.CREATE_SPECIMEN),
    }
    return render(request, "specimens/specimen_detail.html", context)


def specimen_create(request: HttpRequest) -> HttpResponse:
    """Create the specimens that a series or one of its cells plans and does not have yet."""
    actor = actor_of(request)
    code = request.GET.get("series", "")
    if not code:
        return _choose_series(request, actor)
    series = series_get(actor, code, Action.CREATE_SPECIMEN)
    only = request.GET.get("cell", "")
    cells = [row for row in cell_list_unfilled(series) if not only or row[0].code == only]
    missing = sum(max(0, planned - have) for _, planned, have in cells)
    problem, status = None, 200
    if request.method == "POST":
        try:
            made = specimens_create_planned(
                actor=actor, cells=[cell for cell, _, _ in cells], now=now()
            )
            messages.success(request, f"{made} specimens of {series.code} created.")
            return redirect(f"{reverse('specimens:specimen-list')}?series={series.code}")
        except NotFound:
            raise
        except UserError as error:
            problem, status = error.message, error.status
    context = {
        "series": series,
        "cells": cells,
        "missing": missing,
        "only": only,
        "problem": problem,
    }
    return render(request, "specimens/specimen_create.html", context, status=status)


def _choose_series(request: HttpRequest, actor: Person) -> HttpResponse:
    roles = programme_roles(actor)
    mine = [code for code, role in roles.items() if allowed(role, Action.CREATE_SPECIMEN)]
    programmes = programme_list_visible(actor).filter(code__in=mine)
    found = series_list_visible(actor).filter(programme__in=programmes.values("id"))
    context = {"all_series": list(found.order_by("code"))}
    return render(request, "specimens/specimen_create_choose.html", context)


@require_GET
def specimen_labels(request: HttpRequest) -> HttpResponse:
    """Labels to print: the code in large type, the series, the cell."""
    wanted = _wanted(request)
    ids = specimen_list_ids(actor=actor_of(request), wanted=wanted)
    page = Paginator(ids, LABELS_ON_A_PAGE).get_page(request.GET.get("page"))
    keys = list(page.object_list)
    locations = location_list_of(keys)
    labels = []
    for specimen in specimen_list_page(keys):
        labels.append({"code": specimen.code, "specimen": specimen, "location": ""})
        for place in locations.get(specimen.pk, ()):
            labels.append(
                {"code": place.subject.code, "specimen": specimen, "location": place.name}
            )
    context = {"labels": labels, "page": page, "query": _query(wanted), "wanted": wanted}
    return render(request, "specimens/specimen_labels.html", context)


def specimen_measured(request: HttpRequest, code: str) -> HttpResponse:
    """Put measured values in the place of specified ones."""
    actor = actor_of(request)
    specimen = specimen_get(actor=actor, code=code, action=Action.CREATE_SPECIMEN)
    form = MeasuredForm(specimen.member_as_known, sent(request))
    if request.method == "POST" and form.is_valid():
        try:
            specimen_measured_set(
                actor=actor,
                specimen=specimen,
                measured=form.measured(),
                why=form.cleaned_data["why"],
                now=now(),
            )
            messages.success(request, f"The measured values of {code} are kept.")
            return redirect("specimens:specimen-detail", code=code)
        except UserError as error:
            refuse(form, error)
    context = {"form": form, "specimen": specimen}
    status = status_shown(request, form)
    return render(request, "specimens/specimen_measured.html", context, status=status)
