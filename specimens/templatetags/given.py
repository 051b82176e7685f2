"""Numbers as a person gave them: no digit more, no digit less."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import template
from django.template import Context

from labmatrix.web.templatetags.notebook import MISSING, number, quantity
from specimens.domain.wording import as_given

register = template.Library()


@register.simple_tag(takes_context=True)
def given(context: Context, value: float | Mapping[str, Any] | None, unit: str = "1") -> str:
    """A value with its unit, with the digits that it was given with.

    Args:
        context: for the person's unit system.
        value: a number in ``unit``, or a mapping {value, unit}; None is a dash.
        unit: unit of the number.
    """
    told: Any = value
    if isinstance(told, Mapping):
        told, unit = told["value"], str(told["unit"])
    if told is None:
        return MISSING
    bare, digits = as_given(told)
    return quantity(context, bare, unit, digits=digits)


@register.simple_tag(takes_context=True)
def given_number(context: Context, value: float | None, unit: str = "1") -> str:
    """The number alone, for a column; ``unit`` only so that it is converted."""
    if value is None:
        return MISSING
    bare, digits = as_given(value)
    return number(context, bare, unit=unit, digits=digits)
