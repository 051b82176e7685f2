"""Forms of cells and of levels that never go together; services decide what can be."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labmatrix.matrix.domain.code import CELL_CODE_MAX
from labmatrix.matrix.domain.design import CellPlan, FactorPlan
from labmatrix.matrix.domain.document import (
    CODE,
    CONDITIONING_CONTROL,
    GAIN_CONTROL,
    NOTE,
    REPLICATES,
)
from labmatrix.matrix.forms import WHY_HELP, choices_put, replicates_field
from labmatrix.matrix.models import Cell
from labmatrix.matrix.selectors.cell import cell_planned, cell_stamp

FOLLOWS = "from the levels"
NONE = "none"
NOT_NEEDED = "Nothing is cast yet, so it may be left out."


class ReasonField(forms.CharField):
    """A reason shown as needed once something was cast; the service decides, in its own words."""

    def __init__(self, *, is_needed: bool) -> None:
        told = WHY_HELP if is_needed else f"{WHY_HELP} {NOT_NEEDED}"
        super().__init__(label="Reason", required=is_needed, help_text=told)

    def validate(self, value: Any) -> None:
        """Leave an empty one to the service."""


class LevelsForm(forms.Form):
    """A level of every factor; ``columns`` tells which field shows which column's error."""

    def __init__(
        self, factors: Sequence[FactorPlan], *args: Any, optional: bool = False, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        self.factors = tuple(factors)
        self.columns: dict[str, str] = {}
        own = list(self.fields)
        for number, factor in enumerate(self.factors):
            choices = [(lv.value, lv.label or lv.value) for lv in factor.levels]
            empty = [("", "any")] if optional else []
            name = f"level_{number}"
            self.fields[name] = forms.ChoiceField(
                label=f"{factor.name} [{factor.unit}]" if factor.unit else factor.name,
                choices=[*empty, *choices],
                required=not optional,
            )
            self.columns[factor.name] = name
        self.order_fields([*self.columns.values(), *own])

    @property
    def levels(self) -> Mapping[str, str]:
        """The levels chosen, by factor name."""
        chosen = {name: self.cleaned_data[field] for name, field in self.columns.items()}
        return {name: value for name, value in chosen.items() if value}


class ForbiddenForm(LevelsForm):
    """Forbid levels to go together."""

    why = forms.CharField(label="Reason", help_text="For the person who meets the rule.")


class CellForm(LevelsForm):
    """Plan one cell."""

    replicates = replicates_field(3)
    code = forms.CharField(
        label="Code", required=False, max_length=CELL_CODE_MAX, help_text="Made from the levels."
    )
    gain_control = forms.ChoiceField(label="Gain control", required=False)
    conditioning_control = forms.ChoiceField(label="Conditioning control", required=False)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea({"rows": 3}))

    def __init__(
        self,
        factors: Sequence[FactorPlan],
        cells: Sequence[CellPlan],
        *args: Any,
        needs_reason: bool = False,
        **more: Any,
    ) -> None:
        super().__init__(factors, *args, **more)
        self.fields["why"] = ReasonField(is_needed=needs_reason)
        choices = [("", FOLLOWS), (NONE, NONE), *((c.code, c.code) for c in cells)]
        choices_put(self, "gain_control", choices)
        choices_put(self, "conditioning_control", choices)
        self.columns |= {
            REPLICATES: "replicates",
            CODE: "code",
            GAIN_CONTROL: "gain_control",
            CONDITIONING_CONTROL: "conditioning_control",
            NOTE: "note",
            "why": "why",
        }

    @property
    def levels(self) -> Mapping[str, str]:
        """The levels chosen, by factor name."""
        return {f.name: self.cleaned_data[self.columns[f.name]] for f in self.factors}

    @property
    def asked(self) -> dict[str, Any]:
        """What ``cell_add`` takes of a valid form."""
        names = ("replicates", "code", "gain_control", "conditioning_control", "note", "why")
        return {"levels": self.levels, **{name: self.cleaned_data[name] for name in names}}


class CellChangeForm(forms.Form):
    """Change what is planned for a cell."""

    replicates = replicates_field()
    gain_control = forms.ChoiceField(label="Gain control", required=False)
    conditioning_control = forms.ChoiceField(label="Conditioning control", required=False)
    note = forms.CharField(label="Note", required=False, widget=forms.Textarea({"rows": 3}))
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(
        self, codes: Sequence[str], *args: Any, needs_reason: bool = True, **more: Any
    ) -> None:
        super().__init__(*args, **more)
        self.fields["why"] = ReasonField(is_needed=needs_reason)
        self.columns = {"why": "why"}
        choices = [("", NONE), *((code, code) for code in codes)]
        choices_put(self, "gain_control", choices)
        choices_put(self, "conditioning_control", choices)

    @classmethod
    def filled(cls, data: Any, cell: Cell, codes: Sequence[str], **more: Any) -> CellChangeForm:
        """The form with what is planned, and its stamp, so that nobody's change is lost."""
        planned = cell_planned(cell)
        initial = {
            **planned,
            "gain_control": planned["gain_control"] or "",
            "conditioning_control": planned["conditioning_control"] or "",
            "seen": cell_stamp(cell),
        }
        return cls(codes, data, initial=initial, **more)

    def asked(self, others: Mapping[str, Cell]) -> dict[str, Any]:
        """What ``cell_change`` takes of a valid form; the series' other cells are known by code."""
        data = self.cleaned_data
        return {
            "gain_control": others.get(data["gain_control"]),
            "conditioning_control": others.get(data["conditioning_control"]),
            **{name: data[name] for name in ("replicates", "note", "why", "seen")},
        }


class CellWithdrawForm(forms.Form):
    """Plan no specimens of a cell any more."""

    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, needs_reason: bool = True, **more: Any) -> None:
        super().__init__(*args, **more)
        self.fields["why"] = ReasonField(is_needed=needs_reason)
        self.columns = {"why": "why"}
