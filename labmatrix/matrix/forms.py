"""Forms of this room: they read what a person wrote; services decide whether it can be."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django import forms

from labmatrix.kernel.errors import UserError
from labmatrix.matrix.domain.code import (
    DEFAULT_TEMPLATE,
    PROGRAMME_CODE_MAX,
    SERIES_CODE_MAX,
)
from labmatrix.matrix.domain.design import (
    REPLICATES_MAX,
    FactorKind,
    FactorPart,
    FactorPlan,
)
from labmatrix.matrix.models import Series
from labmatrix.web.domain.roles import Role
from labmatrix.web.parsers import json_parse

WHY_HELP = "Goes into the ledger beside what it was and what it is now."
PARTS = {
    FactorPart.STRENGTHENING: "strengthening (plies, anchors, mortar)",
    FactorPart.CONDITIONING: "conditioning (exposure, sustained load, cycling)",
    FactorPart.MEMBER: "the member itself (size, steel, concrete)",
    FactorPart.OTHER: "something else",
}


class JsonText(forms.CharField):
    """JSON as text, an object unless said otherwise; empty is empty."""

    def __init__(self, *, rows: int = 8, **more: Any) -> None:
        attrs = {"rows": rows, "spellcheck": "false"}
        super().__init__(required=False, widget=forms.Textarea(attrs=attrs), **more)

    def clean(self, value: Any) -> Any:
        """The data; an empty object for an empty text."""
        text = super().clean(value)
        if not text:
            return {}
        try:
            return json_parse(text.encode("utf-8", "replace"))
        except UserError as error:
            raise forms.ValidationError(error.message) from error


class WordList(forms.CharField):
    """Words apart by commas or line ends."""

    def clean(self, value: Any) -> Any:
        """The words, in order."""
        text = super().clean(value)
        return [word.strip() for word in text.replace("\n", ",").split(",") if word.strip()]


def _day(label: str) -> forms.DateField:
    return forms.DateField(
        label=label, required=False, widget=forms.DateInput(attrs={"type": "date"})
    )


def replicates_field(initial: int | None = None) -> forms.IntegerField:
    return forms.IntegerField(
        label="Specimens planned", min_value=0, max_value=REPLICATES_MAX, initial=initial
    )


def _why() -> forms.CharField:
    return forms.CharField(label="Reason", help_text=WHY_HELP)


class ProgrammeForm(forms.Form):
    """Start a programme."""

    code = forms.CharField(
        label="Code",
        max_length=PROGRAMME_CODE_MAX,
        help_text="Capital letters, digits, hyphens, such as QUAYSIDE. It stays for good.",
    )
    title = forms.CharField(label="Title")
    sponsor_question = forms.CharField(
        label="What the sponsor wants to know", required=False, widget=forms.Textarea({"rows": 3})
    )
    starts_on = _day("Starts on")
    ends_on = _day("Ends on")
    is_invented = forms.BooleanField(label="Its data are invented", required=False)


class MemberForm(forms.Form):
    """Give a person a part in a programme, another part, or none any more."""

    username = forms.CharField(label="Sign-in name")
    role = forms.ChoiceField(
        label="Part",
        choices=[*((str(r), str(r)) for r in Role), ("", "none any more")],
        required=False,
    )


class SeriesForm(forms.Form):
    """Start a series."""

    code = forms.CharField(
        label="Code",
        max_length=SERIES_CODE_MAX,
        help_text="Begins the code on every specimen's label, such as QV-B. It stays for good.",
    )
    title = forms.CharField(label="Title")
    specimen_type = forms.ChoiceField(label="Specimens", choices=Series.SpecimenType.choices)
    code_template = forms.CharField(
        label="Codes of specimens",
        initial=DEFAULT_TEMPLATE,
        help_text="From series, cell and number n within the cell.",
    )


class SeriesChangeForm(forms.Form):
    """Change what a series says."""

    title = forms.CharField(label="Title")
    route = JsonText(
        rows=14,
        label="Route",
        help_text="Stages in order: {“stages”: [{“stage”: “cast”}, …]}. {“factor”: name} stands "
        "for the cell's level; when and unless keep or drop a stage.",
    )
    member = JsonText(
        label="Member as specified",
        help_text="Geometry and materials, the unit in each name: {“width_mm”: 200}.",
    )
    responses = WordList(
        label="Responses", required=False, help_text="Names of metrics, apart by commas."
    )
    why = _why()

    @classmethod
    def filled(cls, data: Any, series: Series) -> SeriesChangeForm:
        """The form with what the series says."""
        initial = {
            "title": series.title,
            "route": _written(series.route),
            "member": _written(series.member),
            "responses": ", ".join(series.responses),
        }
        return cls(data, initial=initial)


def _written(data: Any) -> str:
    return json.dumps(data, indent=1, ensure_ascii=False) if data else ""


class FactorForm(forms.Form):
    """Add a factor."""

    name = forms.CharField(label="Name", help_text="As the columns of a matrix file are headed.")
    kind = forms.ChoiceField(
        label="Levels are",
        choices=[(str(FactorKind.NUMERIC), "numbers"), (str(FactorKind.NAMED), "names")],
    )
    unit = forms.CharField(label="Unit of the numbers", required=False)
    part = forms.ChoiceField(
        label="It changes", choices=[(str(part), words) for part, words in PARTS.items()]
    )
    levels = WordList(label="Levels", help_text="In order, apart by commas or on lines.")
    control = forms.CharField(
        label="The level that means none",
        required=False,
        help_text="No plies, no exposure: from it follows which cell is whose control.",
    )
    is_open = forms.BooleanField(label="A matrix file may bring further levels", required=False)


class FactorChangeForm(forms.Form):
    """Change what a factor is for."""

    part = forms.ChoiceField(
        label="It changes", choices=[(str(part), words) for part, words in PARTS.items()]
    )
    control = forms.ChoiceField(label="The level that means none", required=False)
    is_open = forms.BooleanField(label="A matrix file may bring further levels", required=False)
    why = _why()

    @classmethod
    def filled(cls, data: Any, factor: FactorPlan) -> FactorChangeForm:
        """The form with what the factor is for."""
        initial = {
            "part": str(factor.part),
            "control": factor.control.value if factor.control else "",
            "is_open": factor.is_open,
        }
        form = cls(data, initial=initial)
        choices = [("", "none of them"), *((lv.value, lv.value) for lv in factor.levels)]
        choices_put(form, "control", choices)
        return form


def choices_put(form: forms.Form, name: str, choices: Sequence[tuple[str, str]]) -> None:
    field = form.fields[name]
    if isinstance(field, forms.ChoiceField):
        field.choices = list(choices)


class LevelForm(forms.Form):
    """Add a level."""

    value = forms.CharField(label="Level")
    code = forms.CharField(
        label="Code", required=False, help_text="Its part of a cell's code; made up if left out."
    )
    label = forms.CharField(label="Shown as", required=False)


class GenerateForm(forms.Form):
    """Make all cells."""

    replicates = replicates_field(3)


class MatrixFileForm(forms.Form):
    """Upload a matrix file."""

    file = forms.FileField(label="File", help_text="CSV, XLSX or JSON, at most 5 MiB.")
