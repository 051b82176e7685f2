"""Pages of cells."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from labmatrix.kernel.clock import now
from labmatrix.matrix.cell_forms import CellChangeForm, CellForm
from labmatrix.matrix.domain.controls import Remark, remarks
from labmatrix.matrix.form_page import NO_FACTORS, form_page
from labmatrix.matrix.links import Place, links_for
from labmatrix.matrix.making import made_of_cell, made_of_series
from labmatrix.matrix.models import Cell
from labmatrix.matrix.route_page import route_or_problem, route_steps
from labmatrix.matrix.selectors.cell import (
    cell_entries,
    cell_get,
    cell_list_of_series,
)
from labmatrix.matrix.selectors.plan_change import plan_change_list
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get, series_get_state
from labmatrix.matrix.services.cell import cell_add, cell_change, cell_subject
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.refused import sent

BOTH = ["GET", "POST"]


def _series_url(code: str) -> str:
    return reverse("matrix:series-detail", args=[code])


def _cell_url(code: str, cell: str) -> str:
    return reverse("matrix:cell-detail", args=[code, cell])


@require_GET
def cell_detail(request: HttpRequest, code: str, cell: str) -> HttpResponse:
    """One cell: its levels, its controls, the route of its specimens."""
    actor = actor_of(request)
    found = cell_get(actor, code, cell, Action.SEE_PROGRAMME)
    role = programme_role(actor, found.series.programme)
    works = allowed(role, Action.SEE_WORK)
    route, problem = route_or_problem(found)
    context = {
        "cell": found,
        "series": found.series,
        "entries": cell_entries(found),
        "remarks": _remarks(found) if works else (),
        "steps": route_steps(route),
        "route_problem": problem,
        "sees_work": works,
        "may_plan": allowed(role, Action.PLAN_MATRIX),
        "links": links_for(Place.CELL, role, found.series.code, found.code),
        "changes": plan_change_list(cell_subject(found)) if works else (),
    }
    return render(request, "matrix/cell_detail.html", context)


def _remarks(cell: Cell) -> list[Remark]:
    return [r for r in remarks(series_get_state(cell.series)) if r.cell == cell.code]


@require_http_methods(BOTH)
def cell_new(request: HttpRequest, code: str) -> HttpResponse:
    """Plan one cell; the address may name its levels already."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    state = series_get_state(series)
    initial = {
        f"level_{n}": request.GET[f"level_{n}"]
        for n in range(len(state.factors))
        if f"level_{n}" in request.GET
    }
    needs_reason = made_of_series(series).cast > 0
    form = CellForm(
        state.factors, state.cells, sent(request), initial=initial, needs_reason=needs_reason
    )

    def write() -> tuple[str, str]:
        added = cell_add(actor=actor, series=series, now=now(), **form.asked)
        return f"{added.code} is planned with {added.replicates} specimens.", _series_url(code)

    return form_page(
        request,
        form,
        write,
        back=_series_url(code),
        title="Plan a cell",
        about="One combination of levels. Its code stays for good: it goes onto labels.",
        button="Plan the cell",
        first="" if state.factors else NO_FACTORS,
        back_label=code,
    )


@require_http_methods(BOTH)
def cell_edit(request: HttpRequest, code: str, cell: str) -> HttpResponse:
    """Change what is planned for a cell, with a reason."""
    actor = actor_of(request)
    found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
    others = {c.code: c for c in cell_list_of_series(found.series) if c.pk != found.pk}
    needs_reason = made_of_cell(found).cast > 0
    form = CellChangeForm.filled(sent(request), found, list(others), needs_reason=needs_reason)

    def write() -> tuple[str, str]:
        cell_change(actor=actor, cell=found, now=now(), **form.asked(others))
        return f"The plan of {found.code} is changed.", _cell_url(code, cell)

    return form_page(
        request,
        form,
        write,
        back=_cell_url(code, cell),
        title=f"Change the plan of {found.code}",
        about="Its levels and its code stay; another combination is another cell.",
        button="Change the plan",
        back_label=found.code,
    )
