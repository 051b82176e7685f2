"""What differs between two predictions of one member: values, rules, and what follows. Plain."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

_OUTCOMES = (
    ("cracking_load", "cracking load"),
    ("yield_load", "yield load"),
    ("ultimate_load", "ultimate load"),
    ("ultimate_moment", "ultimate moment"),
    ("control_load", "ultimate load of the unstrengthened twin"),
)


@dataclass(frozen=True)
class Change:
    """One thing that is otherwise: its words before and after, and what it rests on now."""

    what: str
    before: str
    after: str
    why: str = ""


def _number(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return "–" if value is None else str(value)
    return f"{value:.0f}" if abs(value) >= 10_000.0 else f"{value:.4g}"


def _entry(entry: Mapping[str, Any] | None) -> str:
    return "–" if entry is None else f"{_number(entry.get('value'))}, {entry.get('origin', '')}"


def _quantity(entry: Any) -> str:
    if not isinstance(entry, Mapping):
        return "–"
    return f"{_number(entry['value'])} {entry['unit']}"


def changes_between(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Change, ...]:
    """What is otherwise, values first, then rules, mechanics and outcome.

    Args:
        before, after: {used, options, version, outcome} of two predictions.
    """
    found = []
    old, new = before["used"], after["used"]
    for name in sorted({*old, *new}):
        one, other = old.get(name), new.get(name)
        if _told(one) != _told(other):  # the same value from another source is no change
            words = (other or {}).get("words", "")
            found.append(Change(name, _entry(one), _entry(other), words))
    for name in sorted({*before["options"], *after["options"]}):
        a, b = before["options"].get(name), after["options"].get(name)
        if a != b:
            found.append(Change(f"rule: {name.replace('_', ' ')}", _number(a), _number(b)))
    if before["version"] != after["version"]:
        found.append(Change("mechanics", before["version"], after["version"]))
    for name, words in _OUTCOMES:
        a, b = before["outcome"].get(name), after["outcome"].get(name)
        if _quantity(a) != _quantity(b):
            found.append(Change(words, _quantity(a), _quantity(b), _percent(a, b)))
    a, b = before["outcome"].get("mode"), after["outcome"].get("mode")
    if a != b:
        found.append(Change("governing mode", _number(a), _number(b)))
    return tuple(found)


def _told(entry: Mapping[str, Any] | None) -> tuple[Any, ...] | None:
    return None if entry is None else (entry.get("value"), entry.get("origin"))


def _percent(before: Any, after: Any) -> str:
    if not (isinstance(before, Mapping) and isinstance(after, Mapping)) or not before["value"]:
        return ""
    return f"{100.0 * (after['value'] / before['value'] - 1.0):+.1f} %"
