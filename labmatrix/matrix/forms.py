"""Forms of this room: they read what a person wrote; services decide whether it can be."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

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

WHY_HELP = "Goes into the ledger beside what it was and what it is now."
PARTS = {
    FactorPart.STRENGTHENING: "strengthening (plies, anchors, mortar)",
    FactorPart.CONDITIONING: "conditioning (exposure, sustained load, cycling)",
    FactorPart.MEMBER: "the member itself (size, steel, concrete)",
    FactorPart.OTHER: "something else",
}


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
    responses = WordList(
        label="Numbers that it is for",
        required=False,
        help_text="Such as peak load, stiffness loss; apart by commas.",
    )
    why = _why()

    @classmethod
    def filled(cls, data: Any, series: Series) -> SeriesChangeForm:
        """The form with what the series says."""
        initial = {
            "title": series.title,
            "responses": ", ".join(name.replace("_", " ") for name in series.responses),
        }
        return cls(data, initial=initial)

    def clean_responses(self) -> list[str]:
        """Names as they are stored: small letters, underscores for blanks."""
        return ["_".join(words.lower().split()) for words in self.cleaned_data["responses"]]


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
