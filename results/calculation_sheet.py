"""Steps of a calculation as a page prints them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

MOST_DIGITS = 8


@dataclass(frozen=True)
class SheetLine:
    """One line: a number with its unit, or a word where a rule decides.

    Attributes:
        number: None for a word.
        digits: significant digits to print.
    """

    symbol: str
    words: str
    formula: str
    number: float | None
    digits: int
    word: str
    unit: str
    source: str


@dataclass(frozen=True)
class SheetPart:
    """Lines under one heading."""

    title: str
    lines: tuple[SheetLine, ...]


def _digits(value: float) -> int:
    """As many as the number has, so that 200 is not printed as 200.00000; at most eight."""
    return min(max(len(Decimal(repr(value)).normalize().as_tuple().digits), 1), MOST_DIGITS)


def _line(step: Mapping[str, Any]) -> SheetLine:
    value, unit = step["quantity"]["value"], step["quantity"]["unit"]
    is_word = isinstance(value, str | bool) or value is None
    return SheetLine(
        symbol=step["symbol"],
        words=step["words"],
        formula=step["formula"],
        number=None if is_word else value,
        digits=0 if is_word else _digits(value),
        word=str(value) if is_word else "",
        unit="" if unit == "1" else unit,
        source=step["source"],
    )


def steps_by_part(steps: Sequence[Mapping[str, Any]]) -> tuple[SheetPart, ...]:
    """Steps under their headings, in order; a heading that comes again begins anew.

    Args:
        steps: as ``Step.as_dict`` gives them.
    """
    parts: list[tuple[str, list[SheetLine]]] = []
    for step in steps:
        title = str(step.get("part", ""))
        if not parts or parts[-1][0] != title:
            parts.append((title, []))
        parts[-1][1].append(_line(step))
    return tuple(SheetPart(title, tuple(lines)) for title, lines in parts)
