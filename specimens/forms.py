"""Forms of this room."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from typing import Any, ClassVar

from django import forms
from django.core.validators import RegexValidator
from django.forms.boundfield import BoundField
from django.utils.text import capfirst

from labmatrix.kernel.units import dimension_of
from specimens.domain.entry import (
    Entry,
    answers_read,
    answers_written,
    payload_built,
    payload_entries,
    payload_values,
)
from specimens.domain.member_words import member_label
from specimens.services.event_parse import EARLIEST, LATEST

PHOTO_MAX = 20 * 1024 * 1024
_PICTURES: Mapping[bytes, str] = {
    b"\x89PNG\r\n\x1a\n": "image/png",
    b"\xff\xd8\xff": "image/jpeg",
    b"GIF8": "image/gif",
}
NOT_A_PICTURE = "The file is no picture that a page can show; allowed are JPEG, PNG, GIF and WebP."
TOO_HEAVY = "The picture has {size} bytes; allowed are {most}."
HASH_PATTERN = "^[0-9a-f]{64}$"
_UNIT = "__unit"


def picture_type(head: bytes) -> str | None:
    """Media type of a picture by its first bytes; None for anything else."""
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "image/webp"
    return next((kind for magic, kind in _PICTURES.items() if head.startswith(magic)), None)


class InstantInput(forms.DateTimeInput):
    """A date and time in the laboratory's zone."""

    input_type = "datetime-local"

    def __init__(self) -> None:
        super().__init__(format="%Y-%m-%dT%H:%M:%S", attrs={"step": "1"})


class InstantField(forms.DateTimeField):
    """An instant of the years in which a laboratory works."""

    widget = InstantInput

    def validate(self, value: Any) -> None:
        """Refuse the years that no event has."""
        super().validate(value)
        if value is not None and not EARLIEST.year < value.year < LATEST.year - 1:
            raise forms.ValidationError("Give a year from 1901 to 2198.")


class AnswersField(forms.CharField):
    """Lines of ``question: answer``."""

    widget = forms.Textarea

    def prepare_value(self, value: Any) -> Any:
        """A mapping as its lines."""
        return answers_written(value) if isinstance(value, Mapping) else value

    def clean(self, value: Any) -> Any:
        """The lines as a mapping."""
        try:
            return answers_read(str(super().clean(value)))
        except ValueError as error:
            raise forms.ValidationError(str(error)) from error


def _number(entry: Entry, required: bool) -> forms.Field:
    decimal = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
    return forms.FloatField(
        required=required,
        min_value=entry.minimum,
        max_value=entry.maximum,
        widget=decimal,
    )


def entry_field(entry: Entry, *, required: bool) -> forms.Field:
    """The form field of an entry; a quantity's is that of its value."""
    match entry.kind:
        case "choice":
            empty = [] if required and len(entry.choices) == 1 else [("", "choose …")]
            choices = [*empty, *((c, c) for c in entry.choices)]
            return forms.ChoiceField(choices=choices, required=required)
        case "integer":
            return forms.IntegerField(
                required=required,
                min_value=None if entry.minimum is None else int(entry.minimum),
                max_value=None if entry.maximum is None else int(entry.maximum),
            )
        case "number" | "quantity":
            return _number(entry, required)
        case "date":
            return forms.DateField(
                required=required, widget=forms.DateInput({"type": "date"}, format="%Y-%m-%d")
            )
        case "answers":
            return AnswersField(required=required)
        case _:
            return forms.CharField(
                required=required and not entry.may_be_empty,
                max_length=entry.length,
                widget=forms.Textarea({"rows": 3}) if entry.kind == "words" else forms.TextInput(),
                validators=[RegexValidator(entry.pattern)] if entry.pattern else [],
            )


def _unit_field(entry: Entry) -> forms.ChoiceField:
    """Units to choose from; none is chosen beforehand where they measure different things."""
    choices = [(unit, "number" if unit == "1" else unit) for unit in entry.units]
    if len({dimension_of(unit).name for unit in entry.units}) > 1:
        choices.insert(0, ("", "unit …"))
    label = f"Unit of {entry.label.lower()}"
    return forms.ChoiceField(label=label, choices=choices, required=False)


class EventForm(forms.Form):
    """Log one event: when it happened, and the entries of its kind's payload."""

    event_id = forms.UUIDField(widget=forms.HiddenInput)
    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    occurred_at = InstantField(label="When it happened")

    def __init__(self, kind: str, *args: Any, replaces: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        self.kind = kind
        self.entries = payload_entries(kind)
        for entry in self.entries:
            self._add(entry)
        if replaces:
            self.fields["why"] = forms.CharField(
                label="Why the earlier entry was wrong",
                max_length=1900,
                widget=forms.Textarea({"rows": 3}),
            )

    def _add(self, entry: Entry) -> None:
        if entry.pattern == HASH_PATTERN:
            self.fields["picture"] = forms.FileField(label="Picture", required=False)
            return
        field = entry_field(entry, required=entry.required)
        field.label, field.help_text = entry.label, entry.help
        if entry.name == "machine":
            field.widget.attrs["list"] = "machines"
        self.fields[entry.name] = field
        if entry.kind == "quantity":
            self.fields[entry.name + _UNIT] = _unit_field(entry)

    @property
    def rows(self) -> list[tuple[BoundField, BoundField | None]]:
        """Visible fields in order, a quantity's value with its unit."""
        visible = [f for f in self.visible_fields() if not f.name.endswith(_UNIT)]
        return [
            (f, self[f.name + _UNIT] if f.name + _UNIT in self.fields else None) for f in visible
        ]

    def clean(self) -> dict[str, Any]:
        """A value without a unit is no quantity."""
        cleaned: dict[str, Any] = self.cleaned_data
        for name in [n for n in cleaned if n.endswith(_UNIT) and not cleaned[n]]:
            if cleaned.get(name.removesuffix(_UNIT)) is not None:
                self.add_error(name, "Choose the unit.")
        return cleaned

    def clean_picture(self) -> Any:
        """A picture that a page can show."""
        picture = self.cleaned_data.get("picture")
        if picture is None:
            if not self.initial.get("blob"):
                raise forms.ValidationError("Choose a picture.")
            return None
        if picture.size > PHOTO_MAX:
            raise forms.ValidationError(TOO_HEAVY.format(size=picture.size, most=PHOTO_MAX))
        if picture_type(picture.read(16)) is None:
            raise forms.ValidationError(NOT_A_PICTURE)
        return picture

    def payload(self, blob: str = "") -> dict[str, Any]:
        """What was filled in, as the payload of an event; to be called when the form is valid.

        Args:
            blob: hash of the picture, when one was chosen.
        """
        values: dict[str, Any] = {}
        for entry in self.entries:
            value = self.cleaned_data.get(entry.name)
            if entry.kind == "quantity" and value is not None:
                value = {"value": value, "unit": self.cleaned_data[entry.name + _UNIT]}
            elif entry.kind == "date" and value is not None:
                value = value.isoformat()
            values[entry.name] = value
        if blob or self.initial.get("blob"):
            values["blob"] = blob or self.initial["blob"]
        return payload_built(self.entries, values)


def event_initial(kind: str, payload: Mapping[str, Any]) -> dict[str, Any]:
    """What a form is filled with to show a payload."""
    entries = payload_entries(kind)
    found: dict[str, Any] = {}
    for name, value in payload_values(entries, payload).items():
        if isinstance(value, Mapping) and set(value) == {"value", "unit"}:
            found[name], found[name + _UNIT] = value["value"], value["unit"]
        else:
            found[name] = value
    return found


class StrikeForm(forms.Form):
    """Strike an event, and say why."""

    event_id = forms.UUIDField(widget=forms.HiddenInput, initial=uuid.uuid4)
    why = forms.CharField(
        label="Why it is struck", max_length=2000, widget=forms.Textarea({"rows": 3})
    )


class JudgeForm(forms.Form):
    """Decide on a deviation, and say why."""

    DECISIONS: ClassVar = [
        ("accept", "Accept: the result counts"),
        ("exclude", "Exclude: the result does not count"),
        ("repeat", "Repeat: another specimen takes its place"),
    ]
    event_id = forms.UUIDField(widget=forms.HiddenInput)
    decision = forms.ChoiceField(choices=DECISIONS, widget=forms.RadioSelect)
    why = forms.CharField(label="Why", max_length=2000, widget=forms.Textarea({"rows": 2}))


class MeasuredForm(forms.Form):
    """Measured values in the place of specified ones; what is left empty stays."""

    why = forms.CharField(label="Why", max_length=2000, widget=forms.Textarea({"rows": 2}))

    def __init__(self, member: Mapping[str, Any], *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.numbers = {name for name, v in member.items() if isinstance(v, int | float)}
        for name, value in member.items():
            if not isinstance(value, int | float | str):
                continue
            field: forms.Field = forms.CharField(required=False, max_length=400)
            if name in self.numbers:
                decimal = forms.TextInput(attrs={"inputmode": "decimal"})
                field = forms.FloatField(required=False, widget=decimal)
            field.label = capfirst(member_label(name, value))
            field.help_text = f"As known now: {value}"
            self.fields[f"m-{name}"] = field
        self.order_fields([*(n for n in self.fields if n != "why"), "why"])

    def measured(self) -> dict[str, Any]:
        """What was filled in."""
        return {
            name.removeprefix("m-"): value
            for name, value in self.cleaned_data.items()
            if name.startswith("m-") and value not in (None, "")
        }
