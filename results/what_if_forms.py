"""What a person or a script sends to ask what an assumed error would change."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from typing import Any

from django import forms
from rest_framework import serializers

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import DIMENSIONS
from labmatrix.matrix.services.series import WHY_MAX
from results.domain.assumed_error import FACTOR_LEAST, FACTOR_MOST, AssumedError
from results.domain.what_if_question import NO_SENSOR
from results.selectors.record_page import channel_map_list_names, sensor_list_serials
from results.services.what_if import map_sensors

_SENSOR, _MAP = "sensor:", "map:"
_UNITS = [u for name in ("force", "length", "strain") for u in DIMENSIONS[name].allowed]
_PERCENT_SAID = (
    "1 where it showed 1 % too much, −1.5 where it showed 1.5 % too little. What was true is what "
    "it showed, divided by 1.01 or 0.985."
)
_OFFSET_SAID = (
    "What it showed with nothing on it, before its calibration's factor. It drops out where the "
    "channel is zeroed on the record itself."
)


_NO_DAY = "Give a day, such as 2026-03-01."
_NOT_A_NUMBER = "This is no number; one reads like 1 or -0.5."
PERCENT = "It showed too much by {given:g} %; allowed is {least:g} to {most:g} %."


def _check_percent(given: Decimal) -> None:
    least, most = 100.0 * (FACTOR_LEAST - 1.0), 100.0 * (FACTOR_MOST - 1.0)
    if not least <= given <= most:
        words = PERCENT.format(given=given, least=least, most=most)
        raise forms.ValidationError(words.replace("-", "\u2212"))


def _choices(also: str) -> list[tuple[str, Any]]:
    serials = sensor_list_serials()
    if also and also not in serials:
        serials.append(also)
    maps = channel_map_list_names()
    return [
        ("", "choose"),
        ("One sensor", [(f"{_SENSOR}{serial}", serial) for serial in serials]),
        ("Every sensor of a machine's saved map", [(f"{_MAP}{name}", name) for name in maps]),
    ]


class WhatIfForm(forms.Form):
    """Sensor or machine, assumed error, period, and why."""

    of = forms.ChoiceField(
        label="Sensor or machine",
        error_messages={"required": NO_SENSOR},
    )
    percent = forms.DecimalField(
        label="It showed too much by",
        required=False,
        validators=[_check_percent],
        error_messages={"invalid": _NOT_A_NUMBER},
        help_text=_PERCENT_SAID,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )
    offset = forms.FloatField(
        label="Offset",
        required=False,
        error_messages={"invalid": _NOT_A_NUMBER},
        help_text=_OFFSET_SAID,
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )
    unit = forms.ChoiceField(
        label="Unit of the offset",
        required=False,
        choices=[("", "none"), *((unit, unit) for unit in _UNITS)],
    )
    since = forms.DateField(
        label="First day",
        error_messages={"required": _NO_DAY, "invalid": _NO_DAY},
        help_text="Of the tests that count.",
        widget=forms.DateInput({"type": "date"}),
    )
    until = forms.DateField(
        label="Last day",
        required=False,
        error_messages={"invalid": _NO_DAY},
        help_text="Empty where the error goes on.",
        widget=forms.DateInput({"type": "date"}),
    )
    why = forms.CharField(
        label="Why",
        max_length=WHY_MAX,
        error_messages={"required": "Say why it is asked."},
        help_text="The occasion; it is kept with the question.",
    )

    def __init__(self, *args: Any, also: str = "", **more: Any) -> None:
        super().__init__(*args, **more)
        of = self.fields["of"]
        if isinstance(of, forms.ChoiceField):
            of.choices = _choices(also)

    def errors_assumed(self) -> list[AssumedError]:
        """The same error for the sensor, or for every one of the map.

        Raises:
            ShapeError: a map without sensors.
        """
        of = str(self.cleaned_data["of"])
        serials = map_sensors(of.removeprefix(_MAP)) if of.startswith(_MAP) else None
        percent = self.cleaned_data["percent"] or Decimal(0)
        factor = float(1 + percent / 100)
        offset, unit = self.cleaned_data["offset"] or 0.0, self.cleaned_data["unit"]
        return [
            AssumedError(serial, factor, offset, unit)
            for serial in serials or [of.removeprefix(_SENSOR)]
        ]


def sensor_choice(serial: str) -> str:
    """The value by which the form chooses a sensor."""
    return f"{_SENSOR}{serial}"


class Offset(serializers.Serializer[Any]):
    """A quantity."""

    value = serializers.FloatField()
    unit = serializers.CharField(max_length=20)


class ErrorRequest(serializers.Serializer[Any]):
    """``showed = factor · true + offset`` of one sensor."""

    sensor = serializers.CharField(max_length=100)
    factor = serializers.FloatField(default=1.0)
    offset = Offset(required=False)


class WhatIfRequest(serializers.Serializer[Any]):
    """Errors of sensors, or one error for every sensor of a saved channel map; period; why."""

    errors = ErrorRequest(many=True, required=False)  # type: ignore[assignment]
    channel_map = serializers.CharField(max_length=80, required=False)
    factor = serializers.FloatField(default=1.0)
    offset = Offset(required=False)
    since = serializers.DateField()
    until = serializers.DateField(required=False, allow_null=True, default=None)
    why = serializers.CharField(max_length=WHY_MAX)


def errors_asked(data: dict[str, Any]) -> Sequence[AssumedError]:
    """The errors that a request names one by one, or by a saved map.

    Raises:
        ShapeError: ``what-if.no-sensor`` without either, ``channels.map-unknown``.
    """
    if data.get("channel_map"):
        serials = map_sensors(data["channel_map"])
        return [_error({**data, "sensor": serial}) for serial in serials]
    if not data.get("errors"):
        raise ShapeError("what-if.no-sensor", NO_SENSOR)
    return [_error(told) for told in data["errors"]]


def _error(told: dict[str, Any]) -> AssumedError:
    offset = told.get("offset") or {"value": 0.0, "unit": ""}
    return AssumedError(told["sensor"], told["factor"], offset["value"], offset["unit"])
