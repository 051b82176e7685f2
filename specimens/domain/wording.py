"""A payload as a person reads it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Said:
    """One entry of a payload: its name, and either a quantity {value, unit} or a text."""

    name: str
    text: str = ""
    quantity: Mapping[str, Any] | None = None


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
    elif value not in ("", None):
        yield Said(name, str(value))


def payload_said(payload: Mapping[str, Any]) -> tuple[Said, ...]:
    """The entries of a payload in their order, empty ones left out, nested ones flat."""
    return tuple(said for name, value in payload.items() for said in _entries(name, value))
