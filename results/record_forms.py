"""Forms of the upload page: what came, and which column measures what."""

from __future__ import annotations

from typing import Any

from django import forms

from labmatrix.evidence.domain.channel_map import QUANTITIES
from labmatrix.evidence.models import TESTS, ChannelMapSaved

_LOOK_FIRST = "look at the file first"


class FilesInput(forms.ClearableFileInput):
    """Several files at once."""

    allow_multiple_selected = True


class FilesField(forms.FileField):
    """One or more files; an empty one is let through, to be refused with its sentence."""

    widget = FilesInput

    def clean(self, data: Any, initial: Any = None) -> Any:
        """Every file checked as one would be."""
        files = data if isinstance(data, list | tuple) else [data]
        if not files or files == [None]:
            raise forms.ValidationError("Choose at least one file.")
        return [super(FilesField, self).clean(file, initial) for file in files]


def _map_choices() -> list[tuple[str, str]]:
    names = ChannelMapSaved.objects.order_by("name").values_list("name", flat=True).distinct()
    return [("", _LOOK_FIRST), *((name, f"saved map {name}") for name in names)]


class RecordForm(forms.Form):
    """Subject, test and files."""

    subject = forms.CharField(
        label="Specimen, location or machine", max_length=60, help_text="The code on its label."
    )
    test = forms.ChoiceField(choices=[(t, t) for t in TESTS])
    uploaded = FilesField(label="Files", allow_empty_file=True, max_length=255)
    channels = forms.ChoiceField(label="Channel map", required=False, choices=_map_choices)
    cycle_offset = forms.IntegerField(
        label="Load cycles before this record",
        required=False,
        min_value=0,
        initial=0,
        help_text="For a block of a cycling run: how many load cycles the specimen had before.",
    )
    measured_at = forms.DateTimeField(
        label="Measured at",
        required=False,
        help_text="In the laboratory's time zone; left empty, the time of the upload counts.",
        widget=forms.DateTimeInput(attrs={"type": "datetime-local"}),
    )
    settings = forms.CharField(
        label="Settings of the reduction",
        required=False,
        widget=forms.Textarea(attrs={"rows": 2, "spellcheck": "false"}),
        help_text='Only where the defaults do not fit: JSON such as {"ultimate_share": 0.85}.',
    )


class ChannelForm(forms.Form):
    """One column of a file."""

    file = forms.CharField(widget=forms.HiddenInput)
    column = forms.CharField(widget=forms.HiddenInput)
    quantity = forms.ChoiceField(
        required=False, choices=[("", "left out"), *((q, q) for q in QUANTITIES)]
    )
    unit = forms.CharField(required=False, max_length=20)
    sign = forms.TypedChoiceField(
        coerce=int, choices=[(1, "as it counts"), (-1, "turned round")], initial=1, required=False
    )
    scale = forms.FloatField(required=False, initial=1.0)
    zero = forms.CharField(required=False, max_length=20, initial="0")
    place = forms.CharField(required=False, max_length=60)
    sensor = forms.CharField(required=False, max_length=60)

    def entry(self, *, several_files: bool) -> dict[str, Any] | None:
        """The entry of the channel map; None for a column that is left out."""
        data = self.cleaned_data
        if not data["quantity"]:
            return None
        entry: dict[str, Any] = {
            "column": data["column"],
            "quantity": data["quantity"],
            "unit": data["unit"],
            "sign": data["sign"] or 1,
            "scale": data["scale"] if data["scale"] is not None else 1.0,
            "zero": _zero(data["zero"]),
        }
        for name in ("place", "sensor"):
            if data[name].strip():
                entry[name] = data[name].strip()
        if several_files:
            entry["file"] = data["file"]
        return entry


def _zero(text: str) -> Any:
    stripped = text.strip()
    if not stripped:
        return 0.0
    try:
        return float(stripped.replace(",", "."))
    except ValueError:
        return stripped  # "first", or something that the map refuses in words


ChannelFormSet = forms.formset_factory(ChannelForm, extra=0)


class ReduceAgainForm(forms.Form):
    """Another reduction of the same record."""

    settings = forms.CharField(
        label="Settings of the reduction",
        required=False,
        widget=forms.Textarea(attrs={"rows": 3, "spellcheck": "false"}),
        help_text="JSON; an empty text takes every default.",
    )
    why = forms.CharField(label="Why", max_length=400)
