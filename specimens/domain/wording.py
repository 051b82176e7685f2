"""A payload as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any

# Of numbers that are given without their unit because it is always the same.
_SIGNS = {"orientation": "°"}


@dataclass(frozen=True)
class Said:
    """One entry of a payload: its name, and a quantity {value, unit}, a number (and the sign of the
    unit that it always has) or a text."""

    name: str
    text: str = ""
    quantity: Mapping[str, Any] | None = None
    number: float | None = None
    sign: str = ""


def as_given(value: float) -> tuple[float, int]:
    """A number with as many significant digits as it was written with; whole ones as int."""
    if float(value).is_integer() and abs(value) < 1e15:
        return int(value), 15
    mantissa = repr(float(value)).partition("e")[0].lstrip("-").replace(".", "").strip("0")
    return float(value), max(1, len(mantissa))


def _is_quantity(value: object) -> bool:
    return isinstance(value, Mapping) and set(value) == {"value", "unit"}


def _entries(name: str, value: Any) -> Iterator[Said]:
    if _is_quantity(value):
        yield Said(name, quantity=value)
    elif isinstance(value, Mapping):
        for inner, item in value.items():
            yield from _entries(inner, item)
    elif isinstance(value, bool):
        yield Said(name, "yes" if value else "no")
    elif isinstance(value, int | float):
        yield Said(name, number=value, sign=_SIGNS.get(name, ""))
    elif isinstance(value, list | tuple):
        yield Said(name, ", ".join(str(item) for item in value))
    elif value not in ("", None):
        yield Said(name, str(value))


def in_unit(said: Said, words: str, unit: str) -> Said:
    """An entry under other words; its number, where it is one, in a unit that it always has."""
    if said.number is None or not unit:
        return replace(said, name=words)
    return replace(said, name=words, number=None, quantity={"value": said.number, "unit": unit})


def payload_said(payload: Mapping[str, Any]) -> tuple[Said, ...]:
    """The entries of a payload in their order, empty ones left out, nested ones flat."""
    return tuple(said for name, value in payload.items() for said in _entries(name, value))
