"""A cell of the plate, as a panel beside it or as a page of its own, to look at and to change."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.matrix.cell_forms import CellChangeForm, CellForm, CellWithdrawForm
from labmatrix.matrix.domain.design import MatrixState, forbidden_by
from labmatrix.matrix.domain.plan_rules import what_stays
from labmatrix.matrix.domain.wording import as_sentence
from labmatrix.matrix.making import made_of_cell, made_of_series
from labmatrix.matrix.models import Cell, Series
from labmatrix.matrix.route_page import route_or_problem, route_steps
from labmatrix.matrix.selectors.cell import cell_entries, cell_get, cell_list_of_series
from labmatrix.matrix.selectors.plan_change import plan_change_list
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.selectors.series import series_get, series_get_state
from labmatrix.matrix.services.cell import cell_add, cell_change, cell_subject, cell_withdraw
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed
from results.selectors.plate_open import said_by_cell
from results.views.plate import layout_of
from specimens.models import Specimen


def _plate_url(request: HttpRequest, series: Series, cell: str = "") -> str:
    """The plate as it was laid out, at the cell."""
    layout = layout_of(request.GET)
    address = reverse("results:plate", args=[series.code]) + (f"?{layout}" if layout else "")
    return f"{address}#cell-{cell}" if cell else address


def _base(request: HttpRequest) -> str:
    """A whole page, or for the script that lays it beside the plate its contents alone."""
    return "results/panel_base.html" if request.headers.get("X-Part") == "panel" else "base.html"


def _refused(form: forms.Form, error: UserError) -> int:
    """Put the sentence where it belongs; the status of the answer."""
    columns: dict[str, str] = getattr(form, "columns", {})
    form.add_error(columns.get(str(error.facts.get("column"))), error.message)
    return error.status


def _specimens(cell: Cell) -> list[Specimen]:
    found = Specimen.objects.filter(cell=cell).select_related("state")
    return list(found.order_by("number"))


class CellPanel(View):
    """One cell: what is planned, what was made, what can still be changed."""

    def get(self, request: HttpRequest, code: str, cell: str) -> HttpResponse:
        """The page; with forms for whoever may plan."""
        return self._page(request, cell_get(actor_of(request), code, cell, Action.SEE_WORK))

    def post(self, request: HttpRequest, code: str, cell: str) -> HttpResponse:
        """Change what is planned, and back to the plate."""
        actor = actor_of(request)
        found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
        others = {c.code: c for c in cell_list_of_series(found.series) if c.pk != found.pk}
        form = CellChangeForm(list(others), request.POST, needs_reason=made_of_cell(found).cast > 0)
        if not form.is_valid():
            return self._page(request, found, change=form, status=400)
        try:
            cell_change(actor=actor, cell=found, now=now(), **form.asked(others))
        except NotFound:
            raise
        except UserError as error:
            status = _refused(form, error)
            found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
            return self._page(request, found, change=form, status=status)
        messages.success(request, f"The plan of {cell} is changed.")
        return redirect(_plate_url(request, found.series, cell))

    def _page(
        self,
        request: HttpRequest,
        cell: Cell,
        *,
        change: CellChangeForm | None = None,
        withdraw: CellWithdrawForm | None = None,
        status: int = 200,
    ) -> HttpResponse:
        actor = actor_of(request)
        may_plan = allowed(programme_role(actor, cell.series.programme), Action.PLAN_MATRIX)
        context = _cell_context(request, cell) | {
            "may_plan": may_plan,
            "changed": status == 409,
            "page_base": _base(request),
        }
        if may_plan:
            context |= _forms(cell, change, withdraw)
        return render(request, "results/cell_panel.html", context, status=status)


class CellWithdraw(CellPanel):
    """Give a planned cell up."""

    http_method_names = ("post",)

    def post(self, request: HttpRequest, code: str, cell: str) -> HttpResponse:
        """Withdraw it, and back to the plate."""
        actor = actor_of(request)
        found = cell_get(actor, code, cell, Action.PLAN_MATRIX)
        form = CellWithdrawForm(request.POST)
        form.is_valid()
        data = form.cleaned_data
        try:
            cell_withdraw(actor=actor, cell=found, why=data["why"], seen=data["seen"], now=now())
        except NotFound:
            raise
        except UserError as error:
            status = _refused(form, error)
            return self._page(request, found, withdraw=form, status=status)
        messages.success(request, f"{cell} is withdrawn; it can be planned again.")
        return redirect(_plate_url(request, found.series, cell))


def _cell_context(request: HttpRequest, cell: Cell) -> dict[str, Any]:
    route, problem = route_or_problem(cell)
    specimens = _specimens(cell)
    layout = layout_of(request.GET)
    said = said_by_cell(series_get_state(cell.series))
    return {
        "cell": cell,
        "series": cell.series,
        "entries": cell_entries(cell),
        "specimens": specimens,
        "stays": what_stays(made_of_cell(cell)),
        "said": said.get(cell.code, ()),
        "steps": route_steps(route),
        "route_problem": problem,
        "changes": plan_change_list(cell_subject(cell)),
        "back": _plate_url(request, cell.series, cell.code),
        "layout": f"?{layout}" if layout else "",
        "layout_more": f"&{layout}" if layout else "",
    }


def _forms(
    cell: Cell, change: CellChangeForm | None, withdraw: CellWithdrawForm | None
) -> dict[str, Any]:
    made, of_series = made_of_cell(cell), made_of_series(cell.series)
    others = [c.code for c in cell_list_of_series(cell.series) if c.pk != cell.pk]
    fresh = CellChangeForm.filled(None, cell, others, needs_reason=made.cast > 0)
    again = CellWithdrawForm(
        initial={"seen": fresh.initial["seen"]}, needs_reason=of_series.cast > 0, prefix=None
    )
    again.auto_id = "withdraw_%s"
    may_withdraw = made.created == 0 and cell.replicates > 0
    return {
        "form": change or fresh,
        "withdraw": (withdraw or again) if may_withdraw or withdraw else None,
    }


class CellNew(View):
    """Plan a cell in an empty square."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The form, with the levels that the address names."""
        series = series_get(actor_of(request), code, Action.PLAN_MATRIX)
        state = series_get_state(series)
        names = [f"level_{place}" for place in range(len(state.factors))]
        initial = {n: request.GET[n] for n in [*names, "replicates"] if n in request.GET}
        form = self._form(series, state, None, initial)
        return self._page(request, series, state, form, told=initial)

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        """Plan it, and back to the plate."""
        actor = actor_of(request)
        series = series_get(actor, code, Action.PLAN_MATRIX)
        state = series_get_state(series)
        form = self._form(series, state, request.POST, {})
        if not form.is_valid():
            return self._page(request, series, state, form, status=400)
        try:
            added = cell_add(actor=actor, series=series, now=now(), **form.asked)
        except NotFound:
            raise
        except UserError as error:
            return self._page(request, series, state, form, status=_refused(form, error))
        messages.success(request, f"{added.code} is planned with {added.replicates} specimens.")
        return redirect(_plate_url(request, series, added.code))

    def _form(self, series: Series, state: MatrixState, data: Any, initial: Any) -> CellForm:
        needs_reason = made_of_series(series).cast > 0
        return CellForm(
            state.factors, state.cells, data, initial=initial, needs_reason=needs_reason
        )

    def _page(
        self,
        request: HttpRequest,
        series: Series,
        state: MatrixState,
        form: CellForm,
        *,
        told: dict[str, str] | None = None,
        status: int = 200,
    ) -> HttpResponse:
        context = {
            "series": series,
            "form": form,
            "forbidden": _forbidden(state, told or {}),
            "back": _plate_url(request, series),
            "page_base": _base(request),
        }
        return render(request, "results/cell_new.html", context, status=status)


def _forbidden(state: MatrixState, told: dict[str, str]) -> str:
    """Why the levels that the address names never go together; empty where they may."""
    levels = {
        factor.name: told[f"level_{place}"]
        for place, factor in enumerate(state.factors)
        if f"level_{place}" in told
    }
    rule = forbidden_by(levels, state.forbidden)
    return as_sentence(rule.why) if rule else ""
