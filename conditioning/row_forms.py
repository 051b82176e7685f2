"""Rows in a form: measured points of a rig, settings of a regime, each field with its unit.

Rows stand in the form's own fields, so that each error is said at its place and what was typed
stays; there are always some empty ones to go on in.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from conditioning.domain.setting_words import UNITS, setting_name, setting_parts
from conditioning.domain.shapes import PERFORMANCE_NAMES
from labmatrix.web.number_field import NumberField, number_text

EMPTY_ROWS = 3
ROWS_MAX = 60
POINT_NEEDS = "A measured point needs its amplitude and its frequency."
NAME_NEEDED = "Say what it is, such as wet or salt; its unit stands beside it."
NAME_SHAPE = "Allowed are letters a to z, digits and blanks, beginning with a letter."
VALUE_NEEDED = "Say its value, or clear the row."
NUMBER_NEEDED = "With a unit, allowed is a number."
TWICE = "This is said in a row above already."
_NAME = re.compile(r"^[a-z][a-z0-9_]{0,39}\Z")
_POINT = {
    "amplitude_mm": ("Amplitude", "mm"),
    "frequency_hz": ("Frequency", "Hz"),
    "load_kn": ("Load, if known", "kN"),
}


def _rows_asked(form: forms.Form, first: str, stored: int) -> int:
    """As many rows as were sent, or those stored with some empty ones."""
    if not form.is_bound:
        return stored + EMPTY_ROWS
    sent = [name for name in form.data if re.fullmatch(rf"{first}_\d{{1,3}}", name)]
    last = max((int(name.rsplit("_", 1)[1]) + 1 for name in sent), default=0)
    return min(max(last, stored + EMPTY_ROWS), ROWS_MAX + EMPTY_ROWS)


class PointRows:
    """Points at which a rig was measured: amplitude, frequency and, where known, load."""

    def __init__(self, form: forms.Form, stored: Sequence[Mapping[str, float]]) -> None:
        """Add the rows to a form."""
        self._form = form
        self._count = _rows_asked(form, PERFORMANCE_NAMES[0], len(stored))
        for row in range(self._count):
            for name in PERFORMANCE_NAMES:
                label, unit = _POINT[name]
                key = f"{name}_{row}"
                form.fields[key] = NumberField(
                    unit=unit, above=0, required=False, label=f"{label}, point {row + 1}"
                )
                if row < len(stored):
                    form.initial[key] = stored[row].get(name)

    def shown(self) -> list[list[forms.BoundField]]:
        """The fields by row."""
        return [[self._form[f"{n}_{row}"] for n in PERFORMANCE_NAMES] for row in range(self._count)]

    def collected(self, data: dict[str, Any]) -> dict[str, Any]:
        """The form's data with the rows as ``dynamic_performance``."""
        points = []
        for row in range(self._count):
            told = {name: data.pop(f"{name}_{row}", None) for name in PERFORMANCE_NAMES}
            point = {name: value for name, value in told.items() if value is not None}
            for name in PERFORMANCE_NAMES[:2]:
                key = f"{name}_{row}"
                if point and name not in point and key not in self._form.errors:
                    self._form.add_error(key, POINT_NEEDS)
            if point:
                points.append(point)
        return data | {"dynamic_performance": points or None}


def _parts(name: str, value: Any) -> tuple[str, str]:
    """Words and unit of a stored setting; what is no number has no unit."""
    is_number = isinstance(value, int | float) and not isinstance(value, bool)
    return setting_parts(name) if is_number else (name.replace("_", " "), "")


class SettingRows:
    """What a regime computes with: what it is, its value, its unit."""

    def __init__(self, form: forms.Form, stored: Mapping[str, Any]) -> None:
        """Add the rows to a form."""
        self._form = form
        told = [(*_parts(name, value), value) for name, value in stored.items()]
        self._count = _rows_asked(form, "setting", len(told))
        units = [("", "no unit"), *((ending, unit) for ending, unit in UNITS.items())]
        for row in range(self._count):
            words, ending, value = told[row] if row < len(told) else ("", "", None)
            added = {
                "setting": forms.CharField(required=False, max_length=40, label="What"),
                "value": forms.CharField(required=False, max_length=400, label="Value"),
                "unit": forms.ChoiceField(required=False, choices=units, label="Unit"),
            }
            for name, field in added.items():
                field.label = f"{field.label}, row {row + 1}"
                form.fields[f"{name}_{row}"] = field
            shown = number_text(value) if isinstance(value, int | float) else value
            form.initial.update(
                {f"setting_{row}": words, f"value_{row}": shown, f"unit_{row}": ending}
            )

    def shown(self) -> list[list[forms.BoundField]]:
        """The fields by row."""
        names = ("setting", "value", "unit")
        return [[self._form[f"{name}_{row}"] for name in names] for row in range(self._count)]

    def collected(self, data: dict[str, Any]) -> dict[str, Any]:
        """The form's data with the rows as ``settings``."""
        found: dict[str, Any] = {}
        for row in range(self._count):
            words, text, ending = (
                data.pop(f"{name}_{row}", None) or "" for name in ("setting", "value", "unit")
            )
            if not words and not text:
                continue
            name = setting_name(words, ending)
            value = self._value(row, text, ending)
            if not name:
                self._form.add_error(f"setting_{row}", NAME_NEEDED)
            elif not _NAME.match(name):
                self._form.add_error(f"setting_{row}", NAME_SHAPE)
            elif name in found:
                self._form.add_error(f"setting_{row}", TWICE)
            else:
                found[name] = value
        return data | {"settings": found}

    def _value(self, row: int, text: str, ending: str) -> Any:
        """A number, yes or no, or a text; with a unit a number."""
        if not text:
            self._form.add_error(f"value_{row}", VALUE_NEEDED)
            return None
        if not ending and text.lower() in ("yes", "no"):
            return text.lower() == "yes"
        try:
            return NumberField().number(text)
        except forms.ValidationError:
            if ending:
                self._form.add_error(f"value_{row}", NUMBER_NEEDED)
            return text
