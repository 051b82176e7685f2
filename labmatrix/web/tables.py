"""Rows and columns made ready for printing: places found by column, units as a person has them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from labmatrix.web.domain.numerals import DEFAULT_DIGITS, Numeral, column_places, numeral
from labmatrix.web.domain.unit_systems import spread_shown, unit_shown, value_shown

MOST_PLACES = 6


@dataclass(frozen=True)
class Head:
    """The head of a column: its label, its unit as shown, and its places (None for text)."""

    label: str
    unit: str
    places: int | None


@dataclass(frozen=True)
class Cell:
    """One cell: a numeral, a text or nothing, and where it leads."""

    content: Numeral | str | None
    places: int | None
    bound: str = ""
    row_head: bool = False
    url: str = ""


@dataclass(frozen=True)
class _Number:
    value: float
    u: float | None
    bound: str


NO_UNIT = "–"


def table_cells(
    columns: Sequence[Mapping[str, Any]], rows: Sequence[Sequence[Any]], system: str
) -> tuple[list[Head], list[list[Cell]]]:
    """Heads and cells of a table.

    Args:
        columns: {"label", "unit"? (default none), "digits"?, "kind"? ("text"), "own_places"?}
            each; with the last every number has its own decimals, for rows of different things.
        rows: a cell is a text, a number, None or {"value", "u"?, "bound"?, "url"?}; as many as
            columns.
        system: the person's unit system.

    Raises:
        ValueError: a row that is shorter or longer than the heads, or a number not finite.
        ShapeError: ``unit.unknown``.
    """
    for index, row in enumerate(rows):
        if len(row) != len(columns):
            raise ValueError(f"row {index} has {len(row)} cells; the table has {len(columns)}")
    heads: list[Head] = []
    printed: list[list[Cell]] = []
    for index, column in enumerate(columns):
        head, cells = _column(column, [row[index] for row in rows], system)
        heads.append(head)
        printed.append(cells)
    if heads and heads[0].places is None:
        printed[0] = [Cell(c.content, None, row_head=True, url=c.url) for c in printed[0]]
    return heads, [list(row) for row in zip(*printed, strict=True)]


def _column(
    column: Mapping[str, Any], values: Sequence[Any], system: str
) -> tuple[Head, list[Cell]]:
    label, unit = str(column["label"]), str(column.get("unit") or "1")
    shown = unit_shown(unit, system)
    # A ratio says that it has no unit; a count, of which no unit is told, is its own.
    name = shown if shown != "1" else NO_UNIT if column.get("unit") else ""
    read = [_read(value, unit, system) for value in values]
    urls = [str(v.get("url") or "") if isinstance(v, Mapping) else "" for v in values]
    numbers = [item for item in read if isinstance(item, _Number)]
    if column.get("kind") == "text" or (not numbers and any(isinstance(v, str) for v in read)):
        texts = [Cell(_text(v), None, url=url) for v, url in zip(values, urls, strict=True)]
        return Head(label, name, None), texts
    digits = int(column.get("digits", DEFAULT_DIGITS))
    like = all(item.u is None for item in numbers) and any(
        isinstance(item.value, float) for item in numbers
    )
    own = bool(column.get("own_places"))
    values_alike = [item.value for item in numbers]
    fixed = column_places(values_alike, digits) if like and not own else None
    contents = [_content(item, digits, fixed) for item in read]
    places = max((c.places for c in contents if isinstance(c, Numeral)), default=0)
    reserved = min(places, MOST_PLACES)
    cells = [
        Cell(content, reserved, item.bound if isinstance(item, _Number) else "", url=url)
        for content, item, url in zip(contents, read, urls, strict=True)
    ]
    return Head(label, name, reserved), cells


def _read(value: Any, unit: str, system: str) -> _Number | str | None:
    u, bound = None, ""
    if isinstance(value, Mapping):
        u, bound, value = value.get("u"), value.get("bound") or "", value["value"]
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, bool) or not math.isfinite(value):
        raise ValueError(f"a cell is {value!r}; allowed is a text, a finite number or None")
    spread = spread_shown(u, unit, system) if u else None
    return _Number(value_shown(value, unit, system), spread, bound)


def _content(item: _Number | str | None, digits: int, places: int | None) -> Numeral | str | None:
    if isinstance(item, _Number):
        return numeral(item.value, u=item.u, digits=digits, places=places)
    return item


def _text(value: Any) -> str | None:
    bare = value["value"] if isinstance(value, Mapping) else value
    return None if bare is None else str(bare)
