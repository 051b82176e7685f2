"""What happened, from ``name: value; name: value`` to an event's payload."""

from __future__ import annotations

import copy
import re
from collections.abc import Sequence
from functools import cache, lru_cache
from typing import Any

from labmatrix.kernel.errors import UserError
from results.domain.history.cells import day_of, number_of, quantity_of, whole_of
from results.domain.history.places import CellWrong
from specimens.domain.catalogue import CATALOGUE, payload_parse, payload_plain
from specimens.domain.entry import Entry, payload_built, payload_entries

# Those need another event, a picture, or a person's judgement here and now.
LEFT_OUT = frozenset({"corrected", "judged", "photo", "checklist"})
KINDS = tuple(kind for kind in CATALOGUE if kind not in LEFT_OUT)
UNKNOWN_KIND = "the event is {kind!r}; known are {known}."
UNKNOWN_DETAIL = "{name!r} is no detail of {kind!r}; {allowed}."
TWICE = "{name!r} is there twice."
NO_COLON = "{text!r} has no name; write name: value, apart by semicolons. {allowed}."


@cache
def _entries_of(kind: str) -> tuple[Entry, ...]:
    """The entries of a kind, made once: years of events ask for the same few."""
    return payload_entries(kind)


def _folded(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", text).strip().lower()


def kind_of(text: str) -> str:
    """A kind of the catalogue, in whatever case and with blanks or hyphens.

    Raises:
        CellWrong: ``history.kind``.
    """
    wanted = _folded(text)
    found = next((kind for kind in KINDS if _folded(kind) == wanted), None)
    if found is None:
        words = UNKNOWN_KIND.format(kind=text[:40], known=", ".join(KINDS))
        raise CellWrong("history.kind", words)
    return found


def detail_name(entry: Entry) -> str:
    """How a detail is named in a workbook: ``maximum``, ``mode words``."""
    return _folded(" ".join(entry.path))


def details_help(kind: str) -> str:
    """The details of a kind in one line, those that must be there first, with an example unit."""
    entries = sorted(_entries_of(kind), key=lambda entry: not entry.required)
    said = []
    for entry in entries:
        unit = f" [{entry.units[0]}]" if entry.units else ""
        choices = f" ({' | '.join(entry.choices)})" if entry.choices else ""
        optional = ", if known" if _may_be_left_out(entry) else ""
        said.append(f"{detail_name(entry)}{unit}{choices}{optional}")
    return "; ".join(said)


def _may_be_left_out(entry: Entry) -> bool:
    """Not needed, or a text that may be empty: a failure mode that has no letter."""
    return not entry.required or entry.may_be_empty


def _allowed(kind: str) -> str:
    told = details_help(kind)
    return f"its details are: {told}" if told else "it has no details"


def payload_of(kind: str, text: str) -> dict[str, Any]:
    """The payload of an event as the catalogue wants it.

    Raises:
        CellWrong: with the sentence of what does not fit.
    """
    return copy.deepcopy(_payload(kind, text))


# Years of events say the same few things: each of them is read once.
@lru_cache(maxsize=2048)
def _payload(kind: str, text: str) -> dict[str, Any]:
    entries = _entries_of(kind)
    given = _given(kind, text, entries)
    values = {e.name: "" for e in entries if e.required and e.may_be_empty}
    values |= {entry.name: _value(entry, given[name]) for name, entry in _named(entries, given)}
    try:
        return payload_plain(payload_parse(kind, payload_built(entries, values)))
    except UserError as error:
        fields = error.facts.get("fields", [])
        words = "; ".join(
            f"{f['field'].replace('.', ' ') or 'details'}: {f['words']}" for f in fields
        )
        told = f"{words or error.message} ({_allowed(kind)})."
        raise CellWrong("history.details", told) from error


def _named(entries: Sequence[Entry], given: dict[str, str]) -> list[tuple[str, Entry]]:
    return [(detail_name(entry), entry) for entry in entries if detail_name(entry) in given]


def _given(kind: str, text: str, entries: Sequence[Entry]) -> dict[str, str]:
    known = {detail_name(entry) for entry in entries}
    needed = [entry for entry in entries if not _may_be_left_out(entry)]
    if text and len(needed) == 1 and not re.match(r"[^;:]*:", text):
        return {detail_name(needed[0]): text}
    found: dict[str, str] = {}
    for part in re.split(r"[;\n]", text):
        if not part.strip():
            continue
        name, colon, value = part.partition(":")
        if not colon:
            words = NO_COLON.format(text=part.strip()[:40], allowed=_allowed(kind))
            raise CellWrong("history.details", words)
        key = _folded(name)
        if key not in known:
            words = UNKNOWN_DETAIL.format(name=name.strip()[:40], kind=kind, allowed=_allowed(kind))
            raise CellWrong("history.detail-unknown", words)
        if key in found:
            raise CellWrong("history.detail-twice", TWICE.format(name=name.strip()[:40]))
        found[key] = value.strip()
    return found


def _value(entry: Entry, text: str) -> Any:
    if entry.kind == "quantity":
        example = f"12.5 {entry.units[0]}" if entry.units else "12.5 kN"
        return quantity_of(text, name=detail_name(entry), example=example)
    if entry.kind == "integer":
        return whole_of(text)
    if entry.kind == "number":
        return number_of(text)
    if entry.kind == "date":
        return day_of(text)[0].isoformat()
    return text
