"""The form by which a lead releases results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labmatrix.matrix.services.series import WHY_MAX
from results.selectors.comparison import CONTROLS, INCLUDES
from results.selectors.imported import IMPORTED_CHOICES
from results.selectors.snapshot import MetricAsked
from results.services.release import SCOPE_MAX

SCOPE_HELP = (
    'One sentence that begins with "Valid for": which members, materials, exposure and ages. '
    "It stands beside every released number."
)
WHY_HELP = "Of a first version the occasion, of an amendment what was put right. It is released."
IMPORTED_HELP = (
    "Numbers as reported, with no raw record behind them. Each is marked so in the release, and "
    "counted apart."
)


class ReleaseForm(forms.Form):
    """Which numbers, how compared, valid for what, and why."""

    metrics = forms.MultipleChoiceField()
    control = forms.ChoiceField(label="Gain against the", choices=list(CONTROLS.items()))
    include = forms.ChoiceField(label="Specimens", choices=list(INCLUDES.items()))
    imported = forms.ChoiceField(
        label="Imported numbers", choices=list(IMPORTED_CHOICES.items()), help_text=IMPORTED_HELP
    )
    scope = forms.CharField(
        label="Scope",
        max_length=SCOPE_MAX,
        help_text=SCOPE_HELP,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    why = forms.CharField(label="Why", max_length=WHY_MAX, help_text=WHY_HELP)

    def __init__(self, *args: Any, offered: Sequence[Mapping[str, str]] = (), **more: Any) -> None:
        super().__init__(*args, **more)
        choices = [(one["value"], one["words"]) for one in offered]
        self.fields["metrics"] = forms.MultipleChoiceField(
            label="Numbers", choices=choices, widget=forms.CheckboxSelectMultiple
        )

    def metrics_asked(self) -> list[MetricAsked]:
        """The chosen numbers, each at the last load cycle where it goes by cycles."""
        pairs = (value.partition("|") for value in self.cleaned_data["metrics"])
        return [MetricAsked(name, method) for name, _, method in pairs]
