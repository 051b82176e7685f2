"""Pages of series."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError
from labmatrix.matrix.cell_forms import ForbiddenForm
from labmatrix.matrix.domain.controls import remarks
from labmatrix.matrix.domain.design import FactorKind, FactorPart, MatrixState, factorial_size
from labmatrix.matrix.domain.document_json import state_as_json
from labmatrix.matrix.domain.grid import make_grid
from labmatrix.matrix.domain.problems import MatrixRefused
from labmatrix.matrix.domain.route import check_route
from labmatrix.matrix.domain.sheet import check_size
from labmatrix.matrix.domain.wording import named_value_in_words
from labmatrix.matrix.form_page import NO_FACTORS, form_page
from labmatrix.matrix.forms import (
    FactorChangeForm,
    FactorForm,
    GenerateForm,
    LevelForm,
    MatrixFileForm,
    SeriesChangeForm,
)
from labmatrix.matrix.links import Place, links_for
from labmatrix.matrix.models import Series
from labmatrix.matrix.selectors.plan_change import plan_change_list
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import factor_get, series_get, series_get_state
from labmatrix.matrix.services.cell import cells_generate, controls_assign, forbidden_add
from labmatrix.matrix.services.factor import factor_add, factor_change, level_add
from labmatrix.matrix.services.matrix_import import matrix_import
from labmatrix.matrix.services.series import series_change, series_subject
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.refused import sent

BOTH = ["GET", "POST"]


def _url(code: str) -> str:
    return reverse("matrix:series-detail", args=[code])


@require_GET
def series_detail(request: HttpRequest, code: str) -> HttpResponse:
    """The matrix of a series as a grid of two chosen factors."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.SEE_PROGRAMME)
    role = programme_role(actor, series.programme)
    state = series_get_state(series)
    context = {
        "series": series,
        "state": state,
        "role": role,
        "may_plan": allowed(role, Action.PLAN_MATRIX),
        "sees_work": allowed(role, Action.SEE_WORK),
        "links": links_for(Place.SERIES, role, series.code),
        "remarks": remarks(state) if allowed(role, Action.SEE_WORK) else (),
        "route_problem": _route_problem(series, state),
        "combinations": factorial_size(state.factors),
        "member": [
            named_value_in_words(name, said) for name, said in sorted(series.member.items())
        ],
        "responses": [name.replace("_", " ") for name in series.responses],
        "planned": sum(cell.replicates for cell in state.cells),
        **_grid(request, state),
    }
    return render(request, "matrix/series_detail.html", context)


def _grid(request: HttpRequest, state: MatrixState) -> dict[str, Any]:
    """The grid that the address asks for, and the choices that lead to other ones."""
    if not state.factors:
        return {"grid": None}
    asked = {f.name: request.GET.get(f"only_{n}", "") for n, f in enumerate(state.factors)}
    known = {f.name: {level.value for level in f.levels} for f in state.factors}
    only = {name: value for name, value in asked.items() if value in known[name]}
    grid = make_grid(
        state,
        down=request.GET.get("down", ""),
        across=request.GET.get("across", ""),
        only=only,
    )
    spanning = {grid.down.name} | ({grid.across.name} if grid.across else set())
    filters = [
        {"field": f"only_{n}", "factor": factor, "chosen": only.get(factor.name, "")}
        for n, factor in enumerate(state.factors)
        if factor.name not in spanning
    ]
    return {"grid": grid, "filters": filters}


def _route_problem(series: Series, state: MatrixState) -> str:
    levels = {f.name: [level.setting for level in f.levels] for f in state.factors}
    try:
        check_route(series.route, levels)
    except ShapeError as error:
        return error.message
    return ""


@require_GET
def series_file(request: HttpRequest, code: str) -> HttpResponse:
    """The matrix in the JSON form that can be uploaded again."""
    series = series_get(actor_of(request), code, Action.SEE_WORK)
    answer = JsonResponse(state_as_json(series_get_state(series)), json_dumps_params={"indent": 1})
    answer["Content-Disposition"] = f'attachment; filename="{series.code}-matrix.json"'
    return answer


@require_http_methods(BOTH)
def series_edit(request: HttpRequest, code: str) -> HttpResponse:
    """Change the title, or the numbers that the series is for, with a reason."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    form = SeriesChangeForm.filled(sent(request), series)

    def write() -> tuple[str, str]:
        series_change(actor=actor, series=series, now=now(), **form.cleaned_data)
        return f"What {code} says is changed.", _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title=f"Change {code}",
        about="Its code, its type and the codes of its specimens stay; member and route have pages "
        "of their own.",
        button="Change the series",
        back_label=code,
        changes=plan_change_list(series_subject(series)),
    )


@require_http_methods(BOTH)
def matrix_upload(request: HttpRequest, code: str) -> HttpResponse:
    """Upload a matrix file; what is wrong with it is shown row by row."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    form = MatrixFileForm(sent(request), request.FILES or None)
    problems: tuple[Any, ...] = ()

    def write() -> tuple[str, str]:
        nonlocal problems
        uploaded = form.cleaned_data["file"]
        check_size(uploaded.size)
        try:
            taken = matrix_import(
                actor=actor,
                series=series,
                filename=uploaded.name,
                content=uploaded.read(),
                now=now(),
            )
        except MatrixRefused as refused:
            problems = refused.problems
            raise
        words = f"{len(taken.created)} cells are new, {len(taken.unchanged)} were there already."
        return words, _url(code)

    context = {"series": series, "factors": series_get_state(series).factors}
    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title="Upload a matrix",
        about="All of the file is taken, or nothing; the same file twice does no harm.",
        button="Upload the matrix",
        back_label=code,
        upload=context,
        problems=lambda: problems,
    )


@require_http_methods(BOTH)
def factor_new(request: HttpRequest, code: str) -> HttpResponse:
    """Add a factor."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    form = FactorForm(sent(request))

    def write() -> tuple[str, str]:
        data = form.cleaned_data
        factor_add(
            actor=actor,
            series=series,
            name=data["name"],
            kind=FactorKind(data["kind"]),
            unit=data["unit"],
            part=FactorPart(data["part"]),
            levels=data["levels"],
            control=data["control"] or None,
            is_open=data["is_open"],
            now=now(),
        )
        return f"{data['name']} is a factor of {code}.", _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title="Add a factor",
        about="Factors come before cells: a cell has a level of each.",
        button="Add the factor",
        back_label=code,
    )


@require_http_methods(BOTH)
def factor_edit(request: HttpRequest, code: str, position: int) -> HttpResponse:
    """Say what a factor is for."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    factor, plan = factor_get(series, position)
    form = FactorChangeForm.filled(sent(request), plan)

    def write() -> tuple[str, str]:
        data = form.cleaned_data
        factor_change(
            actor=actor,
            factor=factor,
            part=FactorPart(data["part"]),
            control=data["control"] or None,
            is_open=data["is_open"],
            why=data["why"],
            now=now(),
        )
        return f"What {factor.name} is for is changed.", _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title=f"What {factor.name} is for",
        about="From it follows which cell is whose control. Controls named already stay.",
        button="Change the factor",
        back_label=code,
    )


@require_http_methods(BOTH)
def level_new(request: HttpRequest, code: str, position: int) -> HttpResponse:
    """Add a level to a factor."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    factor, plan = factor_get(series, position)
    form = LevelForm(sent(request))

    def write() -> tuple[str, str]:
        level = level_add(actor=actor, factor=factor, now=now(), **form.cleaned_data)
        return f"{level.shown} is a level of {factor.name}.", _url(code)

    have = ", ".join(level.value for level in plan.levels) or "none"
    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title=f"Add a level of {factor.name}",
        about=f"Levels so far: {have}. Numbers are in {factor.unit}."
        if factor.unit
        else f"Levels so far: {have}.",
        button="Add the level",
        back_label=code,
    )


@require_http_methods(BOTH)
def forbidden_new(request: HttpRequest, code: str) -> HttpResponse:
    """Forbid levels to go together."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    factors = series_get_state(series).factors
    form = ForbiddenForm(factors, sent(request), optional=True)

    def write() -> tuple[str, str]:
        forbidden_add(
            actor=actor, series=series, levels=form.levels, why=form.cleaned_data["why"], now=now()
        )
        return "The combination is forbidden.", _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title="Forbid a combination",
        about="Choose two levels or more that never go together.",
        button="Forbid the combination",
        first="" if factors else NO_FACTORS,
        back_label=code,
    )


@require_http_methods(BOTH)
def cells_all(request: HttpRequest, code: str) -> HttpResponse:
    """Make a cell of every combination that is not forbidden."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    form = GenerateForm(sent(request))
    factors = series_get_state(series).factors
    size = factorial_size(factors)

    def write() -> tuple[str, str]:
        made = cells_generate(
            actor=actor, series=series, replicates=form.cleaned_data["replicates"], now=now()
        )
        words = f"{len(made.created)} cells are new, {len(made.unchanged)} were there already."
        return words, _url(code)

    return form_page(
        request,
        form,
        write,
        back=_url(code),
        title="Plan all combinations",
        about=f"{size} combinations; forbidden ones are left out, planned ones stay as they are.",
        button="Plan the cells",
        first="" if factors else NO_FACTORS,
        back_label=code,
    )


@require_http_methods(["POST"])
def controls_name(request: HttpRequest, code: str) -> HttpResponse:
    """Name the controls that follow from the levels, where none is named."""
    actor = actor_of(request)
    series = series_get(actor, code, Action.PLAN_MATRIX)
    changed = controls_assign(actor=actor, series=series, now=now())
    messages.success(request, f"Controls are named for {len(changed)} cells.")
    return redirect(_url(code))
