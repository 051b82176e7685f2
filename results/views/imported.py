"""Imported numbers of a specimen: as they stand, as reported, and how to put one right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views import View

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import NotFound, UserError
from labmatrix.kernel.units import dimension_of
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.actor import actor_of
from labmatrix.web.domain.roles import Action, allowed, require
from results.models import TypedResult
from results.selectors.history import imported_get, imported_list
from results.selectors.imported import Standing, standing
from results.services.imported import WHY_MAX, Given, imported_correct
from specimens.models import Specimen
from specimens.selectors.access import specimen_get
from specimens.selectors.event import people_names

UNNAMED = "someone who is not named any more"
CORRECT, STRIKE = "correct", "strike"
CAPTION = (
    "Numbers of {code}, imported as reported, no raw record behind them; u is the standard "
    "uncertainty, where the source states one."
)
NO_VALUE = "Give the value that it should have been, or say that it counts no more."
_WHATS = ((CORRECT, "It should have been"), (STRIKE, "It counts no more"))


class CorrectionForm(forms.Form):
    """What a number should have been, or that it counts no more; and why."""

    what = forms.ChoiceField(label="What", choices=_WHATS, widget=forms.RadioSelect)
    value = forms.CharField(
        label="Value",
        required=False,
        max_length=40,
        widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}),
    )
    unit = forms.ChoiceField(label="Unit")
    u = forms.CharField(
        label="Standard uncertainty",
        required=False,
        max_length=40,
        help_text="In the same unit, if the source states one.",
        widget=forms.TextInput({"inputmode": "decimal", "autocomplete": "off"}),
    )
    why = forms.CharField(
        label="Why",
        max_length=WHY_MAX,
        help_text="It stands beside the number, and in the ledger.",
        error_messages={"required": "Say why."},
    )
    seen = forms.IntegerField(min_value=0, widget=forms.HiddenInput)

    def __init__(self, unit: str, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        units = dict.fromkeys((unit, *dimension_of(unit).allowed))
        said = [(one, "none" if one == "1" else one) for one in units]
        self.fields["unit"] = forms.ChoiceField(label="Unit", choices=said)
        self.order_fields(("what", "value", "unit", "u", "why"))

    def clean(self) -> dict[str, Any]:
        """A value is needed unless the number is struck."""
        data = dict(super().clean() or {})
        if data.get("what") == CORRECT and not data.get("value"):
            self.add_error("value", NO_VALUE)
        return data

    def given(self) -> Given | None:
        """What is to stand from now on; None where the number is struck."""
        data = self.cleaned_data
        if data["what"] == STRIKE:
            return None
        return Given(data["value"], data["unit"], data["u"])


class ImportedPage(View):
    """Imported numbers of one specimen, marked as such, with every correction."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        """The page."""
        actor = actor_of(request)
        specimen = specimen_get(actor=actor, code=code)
        found = imported_list(specimen)
        role = programme_role(actor, specimen.cell.series.programme)
        may_correct = allowed(role, Action.CORRECT_IMPORTED)
        context = {
            "specimen": specimen,
            "count": len(found),
            "table": _table(specimen, found, may_correct=may_correct),
            "corrections": _corrections([one for one, _ in found]),
        }
        if specimen.cell.series.programme.is_invented:
            context["invented_data_notice"] = True
        return render(request, "results/imported.html", context)


def _corrections(found: Sequence[Standing]) -> list[dict[str, Any]]:
    """What was corrected, the earliest of each number first, with what stood before."""
    made = [(one, list(one.row.corrections.all())) for one in found]
    names = people_names({c.made_by for _, several in made for c in several})
    told = []
    for one, several in made:
        before = one.row.said
        for correction in several:
            now_said = correction.said if correction.value is not None else ""
            told.append(
                {
                    "name": one.name,
                    "before": before,
                    "after": now_said,
                    "why": correction.why,
                    "who": names.get(correction.made_by, UNNAMED),
                    "at": correction.made_at,
                }
            )
            before = now_said or "struck"
    return told


def _table(
    specimen: Specimen, found: Sequence[tuple[Standing, Any]], *, may_correct: bool
) -> dict[str, Any]:
    text = {"kind": "text"}
    columns = [
        {"label": "Number", **text},
        {"label": "Of", **text},
        {"label": "Value", "digits": 4},
        {"label": "u", "digits": 2},
        {"label": "Unit", **text},
        {"label": "As reported", **text},
        {"label": "Measured on", **text},
        {"label": "Raw file named", **text},
        {"label": "Counts", **text},
    ]
    rows = [_row(one, file) for one, file in found]
    if may_correct:
        columns.append({"label": "Put right", **text})
        for row, (one, _) in zip(rows, found, strict=True):
            url = reverse("results:imported-correct", args=[specimen.code, one.row.pk])
            row.append({"value": "Correct it", "url": url})
    return {"caption": CAPTION.format(code=specimen.code), "columns": columns, "rows": rows}


def _row(one: Standing, file: Any) -> list[Any]:
    row, named = one.row, "none"
    if row.raw_record:
        named = f"{row.raw_record}, {'in the store' if file else 'not uploaded yet'}"
    counts = "yes, as corrected" if one.seen else "yes, as reported"
    return [
        one.name,
        row.subject.code,
        one.value,
        one.u,
        row.unit if row.unit != "1" else "none",
        row.said,
        row.measured_on.isoformat() if row.measured_on else "not said",
        named,
        "no, struck" if one.is_struck else counts,
    ]


class ImportedCorrectPage(View):
    """Put one imported number right."""

    def get(self, request: HttpRequest, code: str, number: int) -> HttpResponse:
        """The form, with the number as it stands."""
        row = self._row(request, code, number)
        one = standing(row)
        first = {"what": CORRECT, "unit": row.unit, "seen": one.seen}
        return self._page(request, code, one, CorrectionForm(row.unit, initial=first))

    def post(self, request: HttpRequest, code: str, number: int) -> HttpResponse:
        """Keep the correction, or say why not."""
        row = self._row(request, code, number)
        form = CorrectionForm(row.unit, request.POST)
        if not form.is_valid():
            return self._page(request, code, standing(row), form, status=400)
        try:
            imported_correct(
                actor=actor_of(request),
                number=row,
                given=form.given(),
                why=form.cleaned_data["why"],
                seen=form.cleaned_data["seen"],
                now=now(),
            )
        except NotFound:
            raise
        except UserError as error:
            form.add_error(None, error.message)
            return self._page(request, code, standing(row), form, status=error.status)
        messages.success(request, f"{standing(row).name.capitalize()} of {code} is put right.")
        return redirect("results:imported", code)

    def _row(self, request: HttpRequest, code: str, number: int) -> TypedResult:
        actor = actor_of(request)
        specimen = specimen_get(actor=actor, code=code)
        role = programme_role(actor, specimen.cell.series.programme)
        require(role, Action.CORRECT_IMPORTED)
        return imported_get(specimen, number)

    def _page(
        self,
        request: HttpRequest,
        code: str,
        one: Standing,
        form: CorrectionForm,
        status: int = 200,
    ) -> HttpResponse:
        context: Mapping[str, Any] = {
            "code": code,
            "name": one.name,
            "one": one,
            "form": form,
            "is_changed": status == 409,
            "back": reverse("results:imported", args=[code]),
        }
        return render(request, "results/imported_correct.html", context, status=status)
