"""Forms of a series' member and route: a field for each thing, a row for each step."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from labmatrix.kernel.canonical import content_key
from labmatrix.matrix.domain.design import FactorPlan
from labmatrix.matrix.domain.member_fields import FIELDS, GROUPS, OPEN, MemberField
from labmatrix.matrix.domain.wording import named_value_in_words
from labmatrix.matrix.forms import WHY_HELP
from labmatrix.matrix.models import Series
from labmatrix.web.number_field import NumberField, number_text

NEEDED = "A prediction needs it."
OWN_ROWS = 3
OWN_NAME = (
    "Give it a name in small letters, the unit last, such as cover_mm; blanks become underscores."
)
OWN_VALUE = "Say what it is: a number or a text."
OWN_TWICE = "This is asked above; fill it in there."
_NAME = re.compile(r"^[a-z][a-z0-9_]*\Z")


def _field(one: MemberField) -> forms.Field:
    words = " ".join(filter(None, (one.help, NEEDED if one.needed else "")))
    common: dict[str, Any] = {"label": one.label, "required": False, "help_text": words}
    if one.choices:
        choices = [("", "not said"), *((c, c) for c in one.choices)]
        return forms.ChoiceField(choices=choices, **common)
    if one.kind == "text":
        return forms.CharField(max_length=240, **common)
    return NumberField(unit=one.unit, above=0, whole=one.kind == "whole", **common)


class WhyForm(forms.Form):
    """A change with its reason, of what was seen."""

    seen = forms.CharField(required=False, max_length=64, widget=forms.HiddenInput)
    why = forms.CharField(label="Reason", help_text=WHY_HELP)


class MemberSaysForm(WhyForm):
    """What a specimen is made of, as specified."""

    def __init__(self, data: Any, series: Series) -> None:
        """Filled with what the series says; what is no plain value stays as it is."""
        said = series.member
        plain = {k: v for k, v in said.items() if v is None or isinstance(v, str | int | float)}
        self.stays = {k: v for k, v in said.items() if k not in plain}
        asked = {one.name for one in FIELDS}
        self.own = [(k, v) for k, v in sorted(plain.items()) if k not in asked]
        initial = {"seen": content_key(said), "why": "" if said else "as specified at the start"}
        super().__init__(data, initial=initial)
        for one in FIELDS:
            self.fields[one.name] = _field(one)
            self.initial[one.name] = plain.get(one.name)
        for place in range(len(self.own) + OWN_ROWS):
            self._own_row(place)
        self.order_fields(["seen", *(one.name for one in FIELDS)])

    def _own_row(self, place: int) -> None:
        name, value = self.own[place] if place < len(self.own) else ("", "")
        shown = number_text(value) if isinstance(value, int | float) else value
        for part, label, text in (("name", "Name", name), ("value", "Value", shown)):
            key = f"own_{part}_{place}"
            self.fields[key] = forms.CharField(
                label=f"{label} {place + 1}", required=False, max_length=240
            )
            self.initial[key] = text

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField], bool]]:
        """Title, fields, and whether they stand open: what a prediction needs, and what is said."""
        return [
            (
                title,
                [self[one.name] for one in fields],
                title in OPEN
                or any(
                    one.needed or self[one.name].value() or self[one.name].errors for one in fields
                ),
            )
            for title, fields in GROUPS
        ]

    @property
    def own_rows(self) -> list[tuple[forms.BoundField, forms.BoundField]]:
        """Name and value of what the series says beside what is asked."""
        count = sum(1 for key in self.fields if key.startswith("own_name_"))
        return [(self[f"own_name_{n}"], self[f"own_value_{n}"]) for n in range(count)]

    @property
    def stays_in_words(self) -> list[tuple[str, str]]:
        """What stays as it is, in words."""
        return [named_value_in_words(name, value) for name, value in sorted(self.stays.items())]

    def clean(self) -> dict[str, Any]:
        """Names of one's own must be names, each once."""
        data = super().clean() or {}
        asked = {one.name for one in FIELDS}
        for name_field, value_field in self.own_rows:
            raw, value = data.get(name_field.name, ""), data.get(value_field.name, "")
            name = raw.strip().replace(" ", "_")
            if bool(name) != bool(value):
                field = value_field if name else name_field
                self.add_error(field.name, OWN_VALUE if name else OWN_NAME)
            elif name and not _NAME.match(name):
                self.add_error(name_field.name, OWN_NAME)
            elif name in asked or name in self.stays:
                self.add_error(name_field.name, OWN_TWICE)
        return data

    def member(self) -> dict[str, Any]:
        """What the series is to say."""
        data = self.cleaned_data
        said = {one.name: data[one.name] for one in FIELDS if data[one.name] not in (None, "")}
        for name_field, value_field in self.own_rows:
            name = data[name_field.name].strip().replace(" ", "_")
            if name:
                said[name] = _plain(data[value_field.name])
        return {**self.stays, **said}


def _plain(text: str) -> Any:
    """A value as it was typed: true or false, a number, or a text."""
    if text in ("yes", "no"):
        return text == "yes"
    try:
        return NumberField().number(text)
    except forms.ValidationError:
        return text


def reference_text(factor: str) -> str:
    """How a row says that a setting follows the cell."""
    return f"level of {factor}"


def references_offered(factors: Sequence[FactorPlan]) -> list[str]:
    """What may be written in place of a number or a text."""
    return [reference_text(factor.name) for factor in factors]


def setting_shown(value: Any) -> Any:
    """A setting as its field shows it."""
    if isinstance(value, Mapping) and set(value) == {"factor"}:
        return reference_text(str(value["factor"]))
    return number_text(value) if isinstance(value, int | float) else value
