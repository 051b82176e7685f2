"""Forms of materials: a lot, a test that is typed, a strike."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labmatrix.matrix.models import Programme
from specimens.domain.lot import KIND_WORDS, SPECIFIED, Field
from specimens.domain.typed_test import TESTS

_PREFIX = "p-"


def _day(**more: Any) -> forms.DateField:
    return forms.DateField(widget=forms.DateInput({"type": "date"}, "%Y-%m-%d"), **more)


def _field(field: Field, *, required: bool) -> forms.Field:
    said = field.words[:1].upper() + field.words[1:]
    unit = "" if field.unit in ("", "1") else f"In {field.unit}."
    help_text = " ".join(part for part in (unit, field.note) if part)
    if field.choices:
        empty = [] if required else [("", "not said")]
        choices = [*empty, *((c, c) for c in field.choices)]
        return forms.ChoiceField(
            label=said, choices=choices, required=required, help_text=help_text
        )
    if field.is_number:
        widget = forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
        return forms.FloatField(
            label=said, required=required, widget=widget, help_text=help_text, localize=False
        )
    return forms.CharField(label=said, required=required, max_length=200, help_text=help_text)


class _WithFields(forms.Form):
    """A form some of whose fields are the names and units of a material."""

    def add_fields(self, fields: Sequence[Field], *, as_needed: bool) -> None:
        """A form field for each; names begin with a prefix of their own."""
        self.names = [field.name for field in fields]
        for field in fields:
            required = as_needed and not field.optional
            self.fields[_PREFIX + field.name] = _field(field, required=required)

    def values(self) -> dict[str, Any]:
        """What was filled in, by name."""
        told = {name: self.cleaned_data.get(_PREFIX + name) for name in self.names}
        return {name: value for name, value in told.items() if value not in (None, "")}


class LotChoiceForm(forms.Form):
    """Of which programme and of which material the new lot is."""

    programme = forms.ChoiceField()
    kind = forms.ChoiceField(label="Material", choices=list(KIND_WORDS.items()))

    def __init__(self, programmes: Sequence[Programme], *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["programme"].choices = [  # type: ignore[attr-defined]
            (p.code, f"{p.code}: {p.title}") for p in programmes
        ]


class LotForm(_WithFields):
    """A lot with what is specified of it; its code only when it is added."""

    code = forms.CharField(max_length=60, help_text="As on its label: A-Z, 0-9 and hyphens.")
    title = forms.CharField(label="Product or mix", max_length=160)
    made_on = _day(
        label="Made or delivered", required=False, help_text="Ages of its tests count from it."
    )
    source = forms.CharField(
        label="Specified by",
        max_length=200,
        required=False,
        help_text="Data sheet or design; needed with any number below.",
    )
    note = forms.CharField(max_length=4000, required=False, widget=forms.Textarea({"rows": 2}))

    def __init__(self, kind: str, *args: Any, changes: bool = False, **options: Any) -> None:
        super().__init__(*args, **options)
        self.add_fields(SPECIFIED[kind], as_needed=False)
        order = ["code", "title", "made_on", "source", *(_PREFIX + n for n in self.names), "note"]
        if changes:
            del self.fields["code"]
            self.fields["why"] = forms.CharField(
                label="Why it changes", max_length=2000, widget=forms.Textarea({"rows": 2})
            )
        self.order_fields([*order, "why"])

    def told(self) -> dict[str, Any]:
        """Arguments of ``lot_add`` or ``lot_change``."""
        names = [n for n in ("code", "title", "made_on", "source", "note") if n in self.fields]
        return {**{n: self.cleaned_data[n] for n in names}, "specified": self.values()}


def lot_initial(lot: Any) -> dict[str, Any]:
    """What the form of a lot is filled with to change it."""
    specified: Mapping[str, Any] = lot.specified
    return {
        "title": lot.title,
        "made_on": lot.made_on,
        "source": lot.source,
        "note": lot.note,
        **{_PREFIX + name: value for name, value in specified.items()},
    }


class TypedTestForm(_WithFields):
    """What a person types of one test."""

    mark = forms.CharField(label="On the piece", max_length=40, help_text="Such as C1.")
    tested_on = _day(label="Tested on")
    note = forms.CharField(max_length=400, required=False)

    def __init__(self, test: str, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.add_fields(TESTS[test], as_needed=True)
        self.order_fields(["mark", "tested_on", *(_PREFIX + n for n in self.names), "note"])

    def told(self) -> dict[str, Any]:
        """Arguments of ``typed_test_add``."""
        kept = {n: self.cleaned_data[n] for n in ("mark", "tested_on", "note")}
        return {**kept, "values": self.values()}


class TypedStrikeForm(forms.Form):
    """Strike a typed test, and say why."""

    why = forms.CharField(
        label="Why it is struck", max_length=400, widget=forms.Textarea({"rows": 2})
    )
