"""Forms of the upload page: what came, and which column measures what."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django import forms

from labmatrix.evidence.domain.channel_map import QUANTITIES, ChannelMap
from labmatrix.evidence.models import TESTS
from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.settings import SettingWords
from results.forms import setting_typed
from results.presenters import setting_text
from results.selectors.record_page import channel_map_list_names

# More columns than a page can show; the API takes maps of up to 1000.
COLUMNS_MAX = 400
REDUCTION_WORDS = {
    "run": "run: joined with the other cyclic records of the specimen",
    "envelope": "envelope: of cycles to both sides (form of ASTM E2126)",
    "counting": "counting: rainflow, level crossings, damage by a stated line",
}
_LOOK_FIRST = "look at the files first"
_TEST_WORDS = {
    "break": "break: monotonic, to failure",
    "cyclic": "cyclic: load cycles",
    "bar": "bar: tension of reinforcement",
}


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
    return [("", _LOOK_FIRST), *((name, f"saved map {name}") for name in channel_map_list_names())]


class RecordForm(forms.Form):
    """Subject, test and files."""

    subject = forms.CharField(
        label="Specimen, location or machine", max_length=60, help_text="The code on its label."
    )
    test = forms.ChoiceField(choices=[(t, _TEST_WORDS.get(t, t)) for t in TESTS])
    uploaded = FilesField(
        label="Files",
        allow_empty_file=True,
        max_length=255,
        help_text="Delimited text or Parquet, as the logger wrote it; several of one test at once. "
        "The bytes are kept as they come.",
    )
    channels = forms.ChoiceField(
        label="Channel map",
        required=False,
        choices=_map_choices,
        help_text="Which column measures what. A saved map takes the record in at once.",
    )
    cycle_offset = forms.IntegerField(
        label="Load cycles before this record",
        required=False,
        min_value=0,
        initial=0,
        help_text="For a block of a cycling run: how many load cycles the specimen had before.",
    )
    reduction = forms.ChoiceField(
        label="Reduced as",
        required=False,
        choices=[("", "usual for the test"), *REDUCTION_WORDS.items()],
        help_text="A cyclic record may also be counted (variable amplitude), read as the envelope "
        "of reversed cycles, or joined with the other records of its run.",
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
        help_text="Only where the usual ones do not fit, one on a line, such as ultimate share: "
        "0.85. The record's page explains each, and can be asked to reduce again with others.",
    )


class ChannelForm(forms.Form):
    """One column of a file."""

    file = forms.CharField(widget=forms.HiddenInput)
    column = forms.CharField(widget=forms.HiddenInput, strip=False)
    quantity = forms.ChoiceField(
        label="Measures", required=False, choices=[("", "left out"), *((q, q) for q in QUANTITIES)]
    )
    unit = forms.CharField(
        required=False, max_length=20, widget=forms.TextInput(attrs={"list": "units"})
    )
    sign = forms.TypedChoiceField(
        coerce=int, choices=[(1, "as it counts"), (-1, "turned round")], initial=1, required=False
    )
    zero = forms.CharField(
        required=False,
        max_length=20,
        initial="0",
        widget=forms.TextInput(attrs={"list": "zeros"}),
    )
    scale = forms.CharField(required=False, max_length=25, initial="1")
    place = forms.CharField(
        required=False, max_length=100, widget=forms.TextInput(attrs={"list": "places"})
    )
    sensor = forms.CharField(
        required=False, max_length=100, widget=forms.TextInput(attrs={"list": "sensors"})
    )
    gauge_factor = forms.CharField(label="Gauge factor", required=False, max_length=25)

    def clean(self) -> dict[str, Any]:
        """Every field as the channel map wants it, said at its own place."""
        data: dict[str, Any] = super().clean() or {}
        entry = None if self.errors else self.entry()
        if entry is None:
            return data
        try:
            ChannelMap.from_data([entry])
        except ShapeError as error:
            for problem in error.facts["problems"]:
                text = problem.removeprefix("entry 1").lstrip(",: ")
                name, _, words = text.partition(": ")
                is_named = name in self.fields and bool(words)
                sentence = words if is_named else text
                self.add_error(name if is_named else None, f"{sentence[:1].upper()}{sentence[1:]}.")
        return data

    def entry(self) -> dict[str, Any] | None:
        """The entry of the channel map, without its file; None for a column that is left out."""
        data = self.cleaned_data
        if not data["quantity"]:
            return None
        entry: dict[str, Any] = {
            "column": data["column"].strip(),
            "quantity": data["quantity"],
            "unit": data["unit"],
            "sign": data["sign"] or 1,
            "scale": _number(data["scale"], 1.0),
            "zero": _number(data["zero"], 0.0),
        }
        for name in ("place", "sensor"):
            if data[name].strip():
                entry[name] = data[name].strip()
        if data["gauge_factor"].strip():
            entry["gauge_factor"] = _number(data["gauge_factor"], None)
        return entry


def _number(text: str, empty: float | None) -> Any:
    """The number that a person wrote; any other text goes on, to be refused in the map's words."""
    stripped = text.strip()
    if not stripped:
        return empty
    try:
        return float(stripped.replace(",", "."))
    except ValueError:
        return stripped  # "first" is a zero


ChannelFormSet = forms.formset_factory(
    ChannelForm, extra=0, max_num=COLUMNS_MAX, absolute_max=COLUMNS_MAX + 1
)


def channel_entries(channels: Iterable[Any]) -> list[dict[str, Any]]:
    """The entries of the channel map from valid forms, columns that are left out aside.

    Only a column whose name is in several files names its file, so that a saved map fits the
    next record too.
    """
    filled = list(channels)
    counts = Counter(form.cleaned_data["column"] for form in filled)
    made = []
    for form in filled:
        entry = form.entry()
        if entry is None:
            continue
        if counts[form.cleaned_data["column"]] > 1:
            entry["file"] = form.cleaned_data["file"]
        made.append(entry)
    return made


class WhyForm(forms.Form):
    """The reason that goes into the ledger with a change."""

    why = forms.CharField(label="Why", max_length=400)


def _setting_field(words: SettingWords) -> forms.Field:
    label = words.name.replace("_", " ")
    unit = "" if words.unit == "1" else f" In {words.unit}."
    default = setting_text(words.default)
    if words.choices:
        choices = [("", f"default: {default}"), *((c, c) for c in words.choices)]
        return forms.ChoiceField(
            label=label, required=False, choices=choices, help_text=words.rule + unit
        )
    widget = forms.TextInput(attrs={"placeholder": f"default: {default}"})
    return forms.CharField(
        label=label, required=False, max_length=200, widget=widget, help_text=words.rule + unit
    )


class ReduceAgainForm(WhyForm):
    """Another reduction of the same record: a field for each setting, empty for its default."""

    def __init__(
        self,
        words: Sequence[SettingWords],
        asked: Mapping[str, Any],
        data: Any = None,
        *,
        reduction: str = "",
        usual: Sequence[str] = (),
    ) -> None:
        """Fields for the settings of one reduction.

        Args:
            words: its settings.
            asked: those that differ from their defaults now.
            data: as sent.
            reduction: its name.
            usual: the reductions of the record's test, the usual one first.
        """
        self.reduction, self.reductions = reduction, list(usual)
        initial = {name: setting_text(value) for name, value in asked.items()}
        super().__init__(data, initial=initial)
        self._names = {w.name: isinstance(w.default, list | tuple) for w in words}
        for w in words:
            self.fields[w.name] = _setting_field(w)
        self.order_fields([*self._names, "why"])

    @property
    def setting_fields(self) -> list[forms.BoundField]:
        """The fields of the settings, without the reason."""
        return [self[name] for name in self._names]

    def settings(self) -> dict[str, Any]:
        """Names and values of what is not left at its default."""
        told = {name: self.cleaned_data[name].strip() for name in self._names}
        is_usual = self.reductions[:1] == [self.reduction] or not self.reduction
        chosen: dict[str, Any] = {} if is_usual else {"reduction": self.reduction}
        return chosen | {
            name: [setting_typed(part) for part in text.split(",")]
            if self._names[name]
            else setting_typed(text)
            for name, text in told.items()
            if text
        }


def _list(text: str) -> list[Any]:
    return [setting_typed(part) for part in text.split(",")]
