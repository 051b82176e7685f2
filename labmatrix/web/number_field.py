"""A form field for a number with its unit beside it; another unit may be written after it."""

from __future__ import annotations

import math
import re
from typing import Any

from django import forms

from labmatrix.kernel.errors import UserError
from labmatrix.kernel.units import convert

MOST = 1e12
NOT_A_NUMBER = "{text!r} is no number; allowed is one such as 8.5{other}."
NO_UNIT = "{text!r} has a unit; allowed is a number alone."
OUTSIDE = "{text} is outside the range; allowed is a number {allowed}."
_SAID = re.compile(r"^([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(.*)\Z", re.DOTALL)


class NumberField(forms.CharField):
    """A finite number in the unit beside the field.

    A comma does as the decimal sign; ``8 in`` in a field of millimetres is converted.
    """

    def __init__(
        self,
        *,
        unit: str = "",
        above: float | None = None,
        at_least: float | None = None,
        whole: bool = False,
        **more: Any,
    ) -> None:
        """A field.

        Args:
            unit: of its number; empty for a number without one.
            above, at_least: the number is greater than this, or not less.
            whole: whether it must be a whole number.
            more: of Django's own fields.
        """
        widget = forms.TextInput({"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(max_length=60, **{"widget": widget, **more})
        self.unit, self.above, self.at_least, self.whole = unit, above, at_least, whole

    def prepare_value(self, value: Any) -> Any:
        """A number as a person writes it."""
        return number_text(value) if isinstance(value, int | float) else value

    def clean(self, value: Any) -> Any:
        """The number; None for an empty field."""
        text = super().clean(value)
        return self.number(text) if text else None

    def number(self, text: str) -> int | float:
        """The number that a text says, in the field's unit.

        Raises:
            ValidationError: in words.
        """
        said = _SAID.match(text)
        if said is None:
            other = f", with another unit as in 8.5 {self.unit}" if self.unit else ""
            raise forms.ValidationError(NOT_A_NUMBER.format(text=text, other=other))
        number = float(said[1].replace(",", "."))
        if said[2]:
            number = self._converted(number, said[2].strip(), text)
        self._check(number, text)
        return int(number) if number.is_integer() and abs(number) < 1e15 else number

    def _converted(self, number: float, unit: str, text: str) -> float:
        if not self.unit:
            raise forms.ValidationError(NO_UNIT.format(text=text))
        try:
            # Twelve digits: what a person wrote in inches is no longer than that.
            return float(f"{convert(number, unit, self.unit):.12g}")
        except UserError as error:
            raise forms.ValidationError(error.message) from error

    def _check(self, number: float, text: str) -> None:
        allowed = []
        if self.above is not None:
            allowed.append(f"above {self.above:g}")
        if self.at_least is not None:
            allowed.append(f"from {self.at_least:g} upward")
        if self.whole:
            allowed.append("without decimals")
        is_in = math.isfinite(number) and abs(number) <= MOST
        is_in = is_in and (self.above is None or number > self.above)
        is_in = is_in and (self.at_least is None or number >= self.at_least)
        if not is_in or (self.whole and not number.is_integer()):
            words = " ".join(allowed) or f"between -{MOST:g} and {MOST:g}"
            raise forms.ValidationError(OUTSIDE.format(text=text, allowed=words))


def number_text(value: float) -> str:
    """A number as a person writes it, to twelve digits, a whole one without a decimal sign."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if isinstance(value, int) else f"{value:.12g}"
