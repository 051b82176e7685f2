"""Pages of cells."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.domain.controls import Remark, remarks
from labmatrix.matrix.domain.route import Parallel, Route, Stage
from labmatrix.matrix.domain.wording import named_value_in_words
from labmatrix.matrix.form_page import form_page
from labmatrix.matrix.forms import CellChangeForm, CellForm
from labmatrix.matrix.links import Place, links_for
from labmatrix.matrix.models import Cell
from labmatrix.matrix.selectors.cell import (
    cell_entries,
    cell_get,
    cell_get_route,
    cell_list_of_series,
)
from labmatrix.matrix.selectors.plan_change import plan_change_list
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get, series_get_state
from labmatrix.matrix.services.cell import cell_add, cell_change, cell_subject
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed

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
    route, problem = _route(found)
    context = {
        "cell": found,
        "series": found.series,
        "entries": cell_entries(found),
        "remarks": _remarks(found) if works else (),
        "steps": _steps(route),
        "route_problem": problem,
        "sees_work": works,
        "may_plan": allowed(role, Action.PLAN_MATRIX),
        "links": links_for(Place.CELL, role, found.series.code, found.code),
        "changes": plan_change_list(cell_subject(found)) if works else (),
    }
    return render(request, "matrix/cell_detail.html", context)


def _remarks(cell: Cell) -> list[Remark]:
    return [r for r in remarks(series_get_state(cell.series)) if r.cell == cell.code]


def _route(cell: Cell) -> tuple[Route, str]:
    try:
        return cell_get_route(cell), ""
    except ShapeError as error:
        return Route(()), error.message


def _steps(route: Route) -> list[list[list[dict[str, Any]]]]:
    """The route as a page shows it: steps, in each the branches, in each the stages."""
    return [
        [[_stage(stage) for stage in branch] for branch in step.branches]
        if isinstance(step, Parallel)
        else [[_stage(step)]]
        for step in route.steps
    ]


def _stage(stage: Stage) -> dict[str, Any]:
    said = stage.as_dict()
    settings = {name: value for name, value in said.items() if name not in ("stage", "optional")}
    return {
        "kind": str(stage.kind),
        "is_optional": stage.is_optional,
        "settings": [named_value_in_words(name, value) for name, value in sorted(settings.items())],
    }


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
    form = CellForm(state.factors, state.cells, request.POST or None, initial=initial)

    def write() -> tuple[str, str]:
        data = form.cleaned_data
        added = cell_add(
            actor=actor,
            series=series,
            levels=form.levels,
            replicates=data["replicates"],
            code=data["code"],
            gain_control=data["gain_control"],
            conditioning_control=data["conditioning_control"],
            note=data["note"],
            now=now(),
        )
        return f"{added.code} is planned with {added.replicates} specimens.", _series_url(code)

    return form_page(
        request,
        form,
        write,
        back=_series_url(code),
        title="Plan a cell",
        about="One combination of levels. Its code stays for good: it goes onto labels.",
        button="Plan the cell",
        back_label=code,
    )


@require_http_methods(BOTH)
def cell_edit(request: HttpRequest, code: str, cell: str) -> HttpResponse:
    """Change what is planned for a cell, with a reason."""
    actor = actor_of(request)
    found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
    others = {c.code: c for c in cell_list_of_series(found.series) if c.pk != found.pk}
    initial = {
        "replicates": found.replicates,
        "gain_control": found.gain_control.code if found.gain_control else "",
        "conditioning_control": (
            found.conditioning_control.code if found.conditioning_control else ""
        ),
        "note": found.note,
    }
    form = CellChangeForm(list(others), request.POST or None, initial=initial)

    def write() -> tuple[str, str]:
        data = form.cleaned_data
        cell_change(
            actor=actor,
            cell=found,
            replicates=data["replicates"],
            gain_control=others.get(data["gain_control"]),
            conditioning_control=others.get(data["conditioning_control"]),
            note=data["note"],
            why=data["why"],
            now=now(),
        )
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
