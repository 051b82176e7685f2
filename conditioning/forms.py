"""Forms of this room."""

from __future__ import annotations

from typing import Any

from django import forms

from conditioning.models import Machine, Regime
from conditioning.row_forms import PointRows, SettingRows
from labmatrix.evidence.domain.channel_map import QUANTITIES
from specimens.forms import InstantField


def _area(rows: int = 3) -> forms.Textarea:
    return forms.Textarea({"rows": rows})


def _decimal() -> forms.TextInput:
    return forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})


class WhyForm(forms.Form):
    """A change with its reason."""

    def ask_why(self) -> None:
        """Add the reason as the last field."""
        self.fields["why"] = forms.CharField(
            label="Why it changes", max_length=2000, widget=_area(2)
        )


class MachineForm(WhyForm):
    """A machine with what a rig was measured to reach; its code only when it is added."""

    code = forms.CharField(max_length=60, help_text="As on its label: A-Z, 0-9 and hyphens.")
    name = forms.CharField(max_length=120)
    kind = forms.ChoiceField(choices=Machine.Kind.choices)
    positions = forms.IntegerField(
        min_value=0, max_value=2000, initial=0, help_text="Places for specimens; 0 if not counted."
    )
    note = forms.CharField(max_length=4000, required=False, widget=_area())

    def __init__(self, *args: Any, changes: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        self.points = PointRows(self, self.initial.pop("dynamic_performance", None) or ())
        if changes:
            del self.fields["code"]
            self.ask_why()

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        """The fields above the rows of points."""
        return [self[name] for name in ("code", "name", "kind", "positions", "note")
                if name in self.fields]  # fmt: skip

    def clean(self) -> dict[str, Any]:
        """The points become the dynamic performance."""
        data = super().clean() or {}
        return self.points.collected(data)


class SensorForm(forms.Form):
    """A sensor."""

    serial = forms.CharField(max_length=100, help_text="As on its body; channel maps name it so.")
    quantity = forms.ChoiceField(choices=[(q, q) for q in QUANTITIES])
    unit = forms.CharField(max_length=20, help_text="Of its readings, such as kN, mm or µm/m.")
    range_low = forms.FloatField(required=False, label="Range from", widget=_decimal())
    range_high = forms.FloatField(required=False, label="Range to", widget=_decimal())
    note = forms.CharField(max_length=4000, required=False, widget=_area())


class CalibrationForm(forms.Form):
    """What a calibration found."""

    calibrated_at = InstantField(label="Calibrated")
    factor = forms.FloatField(initial=1, widget=_decimal(), help_text="Multiplies every reading.")
    zero = forms.FloatField(
        initial=0, widget=_decimal(), help_text="Reading with nothing on it, in its unit."
    )
    u_relative = forms.FloatField(
        initial=0,
        label="Relative uncertainty",
        widget=_decimal(),
        help_text="Standard, of the reading: 0.005 for half a per cent.",
    )
    u_absolute = forms.FloatField(
        initial=0,
        label="Absolute uncertainty",
        widget=_decimal(),
        help_text="Standard, in its unit.",
    )
    certificate = forms.CharField(max_length=120, required=False)
    due_on = forms.DateField(
        required=False, label="Next one due", widget=forms.DateInput({"type": "date"}, "%Y-%m-%d")
    )


class RegimeForm(WhyForm):
    """An exposure protocol; its code only when it is added."""

    code = forms.CharField(max_length=40, help_text="A-Z, 0-9 and hyphens.")
    title = forms.CharField(max_length=160)
    kind = forms.ChoiceField(choices=Regime.Kind.choices)
    text = forms.CharField(
        max_length=8000, required=False, widget=_area(6), label="The protocol in words"
    )

    def __init__(self, *args: Any, changes: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        self.rows = SettingRows(self, self.initial.pop("settings", None) or {})
        if changes:
            del self.fields["code"]
            self.ask_why()

    @property
    def plain_fields(self) -> list[forms.BoundField]:
        """The fields above the rows of settings."""
        return [self[name] for name in ("code", "title", "kind", "text") if name in self.fields]

    def clean(self) -> dict[str, Any]:
        """The rows become the settings."""
        data = super().clean() or {}
        return self.rows.collected(data)
