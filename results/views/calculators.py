"""Calculators: a form, and the answer as a sheet that can be printed and followed by hand."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views import View

from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.web.domain.roles import NOT_YOURS
from labmatrix.web.refused import status_shown
from results.calculation_sheet import steps_by_part
from results.calculator_api import CALCULATORS, NOT_FOR_WORKS, calculate
from results.calculator_forms import CalculatorForm

TITLES = {
    "flexure": "Bending strength of a strengthened section",
    "beam": "Load and deflection of a beam under its actuator",
    "protocol": "What a cycling or sustained level does to bars and fabric",
}


class CalculatorPage(View):
    """One calculator; nothing that is typed here is kept."""

    def get(self, request: HttpRequest, which: str) -> HttpResponse:
        """The form."""
        return self._page(request, which, CalculatorForm(which))

    def post(self, request: HttpRequest, which: str) -> HttpResponse:
        """The sheet below the form, or a sentence beside what is off."""
        form = CalculatorForm(which, request.POST)
        answer: dict[str, Any] | None = None
        if form.is_valid():
            try:
                answer = calculate(which, form.payload())
            except UserError as error:
                form.refuse(error)
        return self._page(request, which, form, answer)

    def _page(
        self,
        request: HttpRequest,
        which: str,
        form: CalculatorForm,
        answer: dict[str, Any] | None = None,
    ) -> HttpResponse:
        if which not in CALCULATORS:
            raise NotFound("access.not-yours", NOT_YOURS)
        context = {
            "which": which,
            "title": TITLES[which],
            "others": [(name, title) for name, title in TITLES.items() if name != which],
            "form": form,
            "answer": answer,
            "parts": steps_by_part(answer["steps"]) if answer else (),
            "note": NOT_FOR_WORKS,
        }
        status = 200 if answer else status_shown(request, form)
        return render(request, "results/calculator.html", context, status=status)
