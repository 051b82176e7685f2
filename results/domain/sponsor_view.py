"""What a sponsor may see of their own programme, field by field; nothing else is given.

A path names one field: dots lead into objects, lists are passed through, ``*`` stands for every
name (factors, ends). What is not listed does not leave the laboratory: who released and who
tested, links to work in progress, the ledger's numbers, counts of ends before a release.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any


@dataclass(frozen=True)
class Field:
    """One field that a sponsor sees: its path and what it is, in words."""

    path: str
    words: str


_PREFIXED = tuple[tuple[str, str], ...]


def _under(prefix: str, fields: _PREFIXED) -> tuple[Field, ...]:
    return tuple(Field(f"{prefix}{path}", words) for path, words in fields)


_QUANTITY = (("value", "the number"), ("unit", "its unit"))
_GROUP = (
    ("cell", "code of the cell"),
    ("n", "number of specimens"),
    ("imported", "how many of them have an imported number, no raw record behind it"),
    ("bound", "whether the mean is a bound"),
    *((f"mean.{path}", f"mean: {words}") for path, words in _QUANTITY),
    *((f"age_of_concrete.{path}", f"mean age: {words}") for path, words in _QUANTITY),
)
_RETAINED = (
    ("value", "the retention"),
    ("bound", "whether it is a bound"),
    ("standard_error", "its standard error"),
    ("interval.low", "lower end of the interval"),
    ("interval.high", "upper end of the interval"),
    ("interval.is_unbounded", "whether the interval has no ends"),
    ("interval.confidence", "its confidence"),
    ("interval.method", "how it was found"),
    ("notes", "sentences beside the number"),
)
_HEAD = (
    ("series", "code of the series"),
    ("metric", "which number"),
    ("method", "how it was found"),
    ("at", "at which load cycle"),
    ("unit", "its unit"),
    ("include", "which specimens count"),
    ("left_out", "codes of specimens left out"),
    ("imported", "whether imported numbers count"),
    ("reductions", "names and versions of the reductions"),
    ("software", "version of the software"),
)
_ROLES = (
    "strengthened_exposed",
    "unstrengthened_exposed",
    "strengthened_laboratory",
    "unstrengthened_laboratory",
)
_TABLE = (
    ("caption", "caption of the table"),
    ("columns.label", "head of a column"),
    ("columns.unit", "its unit"),
    ("columns.kind", "whether it is text"),
    ("columns.digits", "its digits"),
    ("rows", "its rows"),
)
_FIGURE = (
    ("caption", "caption of the figure"),
    ("n", "specimens drawn"),
    ("cells", "cells drawn"),
    *((f"table.{path}", words) for path, words in _TABLE),
    ("payload.kind", "kind of figure"),
    *(
        (f"payload.data.{name}", f"{name} of a curve")
        for name in ("x", "y", "name", "text", "mode", "legendgroup", "showlegend", "hovertemplate")
    ),
    ("payload.data.meta.level", "which look a curve has"),
    ("payload.data.meta.control", "whether it is a control"),
    ("payload.data.meta.specimen", "code of its specimen"),
    *(
        (f"payload.layout.{axis}.{name}", f"{axis} of the figure")
        for axis in ("xaxis", "yaxis")
        for name in ("title.text", "range")
    ),
)

RELEASE_FIELDS: tuple[Field, ...] = (
    Field("id", "address of the release"),
    Field("series", "code of the series"),
    Field("series_title", "title of the series"),
    Field("programme", "code of the programme"),
    Field("is_invented", "whether the data are invented"),
    Field("version", "number of the version"),
    Field("released_at", "when it was released"),
    Field("scope", "what it is valid for"),
    Field("why", "why it was released"),
    Field("superseded_by", "the latest version where there is a later one"),
    Field("sha256", "hash of what was released"),
    Field("software", "version of the software"),
    Field("changes.what", "what changed"),
    Field("changes.before", "as it was"),
    Field("changes.after", "as it is"),
    Field("changes.unit", "unit of both"),
    Field("what.metrics.metric", "which numbers"),
    Field("what.metrics.method", "how they were found"),
    Field("what.metrics.at", "at which load cycle"),
    Field("what.control", "which control"),
    Field("what.include", "which specimens count"),
    Field("what.imported", "whether imported numbers count"),
    *_under("results.comparison.", _HEAD),
    Field("results.comparison.control", "which control"),
    Field("results.comparison.factors", "names of the factors"),
    *_under("results.comparison.groups.", _GROUP),
    Field("results.comparison.groups.levels.*", "levels of the cell"),
    Field("results.comparison.groups.sub_samples", "number of values"),
    *_under("results.comparison.groups.s.", _QUANTITY),
    Field("results.comparison.groups.ends.*", "specimens by how they ended"),
    Field("results.comparison.groups.gain", "gain over the control"),
    Field("results.comparison.groups.gain_bound", "whether the gain is a bound"),
    Field("results.comparison.groups.control.kind", "kind of control"),
    *_under("results.comparison.groups.control.", tuple(f for f in _GROUP if f[0] != "bound")),
    Field("results.comparison.groups.notes", "sentences beside the number"),
    Field("results.comparison.groups.values.specimen", "code of a specimen"),
    Field("results.comparison.groups.values.value", "its value"),
    Field("results.comparison.groups.values.bound", "whether the value is a bound"),
    Field("results.comparison.groups.values.origin", "reduced from a record, or imported"),
    *_under("results.retention.", _HEAD),
    Field("results.retention.cells.cell", "code of the cell"),
    Field("results.retention.cells.levels.*", "levels of the cell"),
    *(
        field
        for role in _ROLES
        for field in _under(f"results.retention.cells.groups.{role}.", _GROUP)
    ),
    *_under("results.retention.cells.member_retention.", _RETAINED),
    *_under("results.retention.cells.contribution_retention.", _RETAINED),
    Field("failure_modes.cell", "code of the cell"),
    Field("failure_modes.scheme", "scheme of the mode"),
    Field("failure_modes.letter", "letter of the mode"),
    Field("failure_modes.words", "the mode in words"),
    Field("failure_modes.end", "how the test ended"),
    Field("failure_modes.tests", "number of tests"),
    Field("failure_modes.specimens", "number of specimens"),
    *_under("figures.*.", _FIGURE),
)

PROGRESS_FIELDS: tuple[Field, ...] = (
    Field("series", "code of the series"),
    Field("title", "title of the series"),
    Field("programme", "code of the programme"),
    Field("decision_on", "next decision: the day on which the programme ends"),
    Field("planned", "specimens planned"),
    Field("made", "specimens made"),
    Field("in_progress", "made, and not ended"),
    Field("ended", "ended, in whichever way"),
    Field("cells.cell", "code of a cell"),
    Field("cells.levels.*", "levels of the cell"),
    Field("cells.planned", "specimens planned in the cell"),
    Field("cells.made", "made in the cell"),
    Field("cells.in_progress", "made in the cell, and not ended"),
    Field("cells.ended", "ended in the cell, in whichever way"),
)


def as_sponsor(data: Mapping[str, Any], fields: tuple[Field, ...]) -> dict[str, Any]:
    """Only what the table lists, of data made of objects, lists and plain values."""
    listed = frozenset(field.path for field in fields)
    return {
        name: kept
        for name, value in data.items()
        if (kept := _kept(value, (name,), listed)) is not _NOTHING
    }


_NOTHING = object()


def _kept(value: Any, path: tuple[str, ...], listed: frozenset[str]) -> Any:
    if isinstance(value, Mapping):
        if not _leads(path, listed):
            return _NOTHING
        inner = {name: _kept(item, (*path, name), listed) for name, item in value.items()}
        return {name: item for name, item in inner.items() if item is not _NOTHING}
    if isinstance(value, list):
        if _is_listed(path, listed):
            return [_plain(item) for item in value]
        items = [_kept(item, path, listed) for item in value]
        leads = _leads(path, listed)
        return [item for item in items if item is not _NOTHING] if leads else _NOTHING
    if _is_listed(path, listed) or (value is None and _leads(path, listed)):
        return value
    return _NOTHING


def _plain(value: Any) -> Any:
    """A listed list holds plain values, or rows of them; an object in one is left out."""
    if isinstance(value, list):
        return [_plain(item) for item in value]
    return None if isinstance(value, Mapping) else value


def _matches(path: tuple[str, ...], pattern: str, *, whole: bool) -> bool:
    parts = pattern.split(".")
    if len(parts) < len(path) or (whole and len(parts) != len(path)):
        return False
    return all(part in ("*", name) for part, name in zip(parts, path, strict=False))


@lru_cache(maxsize=4096)
def _is_listed(path: tuple[str, ...], listed: frozenset[str]) -> bool:
    return any(_matches(path, pattern, whole=True) for pattern in listed)


@lru_cache(maxsize=4096)
def _leads(path: tuple[str, ...], listed: frozenset[str]) -> bool:
    return any(_matches(path, pattern, whole=False) for pattern in listed)


def paths_of(data: Any, path: str = "") -> Iterator[str]:
    """The path of every plain value in data, lists passed through."""
    if isinstance(data, Mapping):
        for name, item in data.items():
            yield from paths_of(item, f"{path}.{name}" if path else str(name))
    elif isinstance(data, list):
        for item in data:
            yield from paths_of(item, path)
    elif data is not None:
        yield path
