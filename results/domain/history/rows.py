"""From the rows of a workbook to specimens, events and typed results, or what is wrong in each."""

from __future__ import annotations

import re
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, TypeVar
from zoneinfo import ZoneInfo

from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.errors import UserError
from labmatrix.kernel.text import unseen_characters
from labmatrix.kernel.units import convert
from labmatrix.matrix.domain.code import SPECIMEN_CODE_MAX, check_code
from results.domain.history.book import EVENTS, RESULTS, SPECIMENS, Book, Row, Table
from results.domain.history.cells import day_of, number_of, text_of, time_of, unit_of, whole_of
from results.domain.history.details import kind_of, payload_of
from results.domain.history.metrics import BY_CYCLE, result_of
from results.domain.history.metrics import RESULTS as KNOWN_RESULTS
from results.domain.history.places import CellWrong, Place, Problem

_NAMESPACE = uuid.UUID("6f6b1d0e-2f0c-5c7e-9a55-6d2f3f9d7a10")
NOON = time(12)
COLUMNS: Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    SPECIMENS: (("specimen", "series", "cell"), ("locations",)),
    EVENTS: (("specimen", "event", "date"), ("time", "details")),
    RESULTS: (
        ("specimen", "result", "value", "unit"),
        ("standard uncertainty", "load cycle", "method", "measured on", "raw record"),
    ),
}
_MEASURED = re.compile(r"(?P<name>[^\[\]]+)\[(?P<unit>[^\[\]]+)\]")
MISSING_COLUMN = "the column {column!r} is missing; the header names {there}."
UNKNOWN_COLUMN = (
    "the column {column!r} is not known; known are {known}{more}. Take it out, or rename it."
)
MEASURED_MORE = ", and what was measured with its unit, such as width [mm]"
TWICE = "the column {column!r} is there twice."
EMPTY = "it is empty; a value is needed in this row."
UNSEEN = "it holds the character U+{point:04X}, which cannot be seen; type the text again."
CYCLE_NEEDED = "{name} is a result of one load cycle; say which in the column load cycle."
CYCLE_NOT = "{name} is a result of the whole test; leave the column load cycle empty."
NEGATIVE = "it holds {text}; a standard uncertainty is not below zero."
Found = TypeVar("Found")


@dataclass(frozen=True)
class SpecimenRow:
    """A specimen as a workbook tells it; measured values by names that end in their units."""

    place: Place
    code: str
    series: str
    cell: str
    locations: tuple[str, ...] = ()
    measured: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class EventRow:
    """One event. Its id follows from what was written, so that writing it again adds nothing."""

    place: Place
    id: str
    specimen: str
    kind: str
    occurred_at: datetime
    payload: Mapping[str, Any]


@dataclass(frozen=True)
class ResultRow:
    """A typed result in its base unit, with what was typed."""

    place: Place
    specimen: str
    name: str
    value: float
    unit: str
    said: str
    u: float | None = None
    at: int | None = None
    method: str = ""
    measured_on: date | None = None
    raw_record: str = ""


@dataclass
class History:
    """Everything that a file says, and everything in it that cannot be taken.

    ``named`` are the codes of the sheet Specimens, sound or not, ``unread`` the sheets whose
    header cannot be read: what follows from those is not said once more of every other row.
    """

    specimens: list[SpecimenRow] = field(default_factory=list)
    events: list[EventRow] = field(default_factory=list)
    results: list[ResultRow] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    named: set[str] = field(default_factory=set)
    unread: set[str] = field(default_factory=set)
    _wrong_rows: set[tuple[str, int]] = field(default_factory=set)

    def __post_init__(self) -> None:
        """Know the rows that the reading of the file found wrong."""
        self._wrong_rows |= {(p.place.sheet, p.place.row) for p in self.problems}

    def is_sound(self, place: Place) -> bool:
        """Whether nothing is wrong yet with a row."""
        return (place.sheet, place.row) not in self._wrong_rows

    def say(self, place: Place, code: str, words: str) -> None:
        """Keep a problem and go on."""
        self.problems.append(Problem(place, code, words))
        self._wrong_rows.add((place.sheet, place.row))


def history_of(book: Book, *, zone: str) -> History:
    """What a file says.

    Args:
        book: its tables.
        zone: IANA name of the zone in which its days and times are meant.
    """
    history = History(problems=list(book.problems))
    readers: Mapping[str, Callable[[_Reader], None]] = {
        SPECIMENS: _specimen,
        EVENTS: _Days(ZoneInfo(zone)).event,
        RESULTS: _result,
    }
    for name, read in readers.items():
        table = book.tables.get(name)
        if table is None:
            continue
        if not _headings_fit(history, table):
            history.unread.add(name)
            continue
        for row in table.rows:
            read(_Reader(history, row))
    return history


def _headings_fit(history: History, table: Table) -> bool:
    place = Place(table.name, table.header_row)
    needed, more = COLUMNS[table.name]
    names = [_column(heading) for heading in table.headings if heading]
    before = len(history.problems)
    for column in needed:
        if column not in names:
            there = ", ".join(h for h in table.headings if h)[:200] or "none"
            words = MISSING_COLUMN.format(column=column, there=there)
            history.say(place, "history.column-missing", words)
    for heading in table.headings:
        name = _column(heading)
        measured = table.name == SPECIMENS and _MEASURED.fullmatch(heading)
        if name and name not in (*needed, *more) and not measured:
            hint = MEASURED_MORE if table.name == SPECIMENS else ""
            words = UNKNOWN_COLUMN.format(
                column=heading[:40], known=", ".join((*needed, *more)), more=hint
            )
            history.say(place, "history.column-unknown", words)
        if name and names.count(name) > 1:
            history.say(place.at(heading), "history.column-twice", TWICE.format(column=heading))
    return len(history.problems) == before


def _column(heading: str) -> str:
    return re.sub(r"[\s_]+", " ", heading).strip().lower()


class _Reader:
    """Reads one row; a cell that cannot be read becomes a problem and gives nothing."""

    def __init__(self, history: History, row: Row) -> None:
        self.history = history
        self.place = row.place
        self.cells = {_column(heading): (heading, raw) for heading, raw in row.cells.items()}

    @property
    def is_sound(self) -> bool:
        """Whether nothing is wrong yet with this row."""
        return self.history.is_sound(self.place)

    def given(self, column: str) -> bool:
        """Whether the cell holds anything."""
        return column in self.cells

    def get(self, column: str, read: Callable[[Any], Found]) -> Found | None:
        """What a cell says; None where it is empty or wrong."""
        if column not in self.cells:
            return None
        heading, raw = self.cells[column]
        try:
            for character in unseen_characters(text_of(raw), allowed="\n\t"):
                raise CellWrong("text.characters", UNSEEN.format(point=ord(character)))
            return read(raw)
        except CellWrong as error:
            self.wrong(heading, error.code, error.words)
        except UserError as error:
            self.wrong(heading, error.code, error.message)
        return None

    def need(self, column: str, read: Callable[[Any], Found]) -> Found | None:
        """The same for a cell that may not be empty."""
        if column not in self.cells and self.is_sound:
            self.wrong(column, "history.empty", EMPTY)
        return self.get(column, read)

    def wrong(self, column: str, code: str, words: str) -> None:
        """Note that this row cannot be taken."""
        self.history.say(self.place.at(column), code, words)


def _code(raw: Any) -> str:
    return check_code(text_of(raw), argument="The code", at_most=SPECIMEN_CODE_MAX)


def _short(at_most: int) -> Callable[[Any], str]:
    def read(raw: Any) -> str:
        text = text_of(raw)
        if len(text) > at_most:
            words = f"it holds {len(text)} characters; allowed are {at_most}."
            raise CellWrong("text.long", words)
        return text

    return read


def _specimen(row: _Reader) -> None:
    code, series = row.need("specimen", _code), row.need("series", _code)
    cell = row.need("cell", _code)
    row.history.named |= {code} if code else set()
    locations = row.get("locations", lambda raw: tuple(re.split(r"[,;\s]+", text_of(raw)))) or ()
    measured = {}
    for column, (heading, _) in row.cells.items():
        found = _MEASURED.fullmatch(heading)
        if found:
            value = row.get(column, number_of)
            name = row.get(column, lambda raw, found=found: _measured_name(found))  # type: ignore[misc]
            if value is not None and name is not None:
                measured[name] = value
    if row.is_sound and code and series and cell:
        row.history.specimens.append(
            SpecimenRow(row.place, code, series, cell, locations, measured)
        )


def _measured_name(found: re.Match[str]) -> str:
    unit = unit_of(found["unit"])
    plain = (
        unit.lower().replace("²", "2").replace("µ", "u").replace("°", "").replace("%", "percent")
    )
    suffix = re.sub(r"[^a-z0-9]+", "_", plain).strip("_")
    stem = re.sub(r"[^a-z0-9]+", "_", found["name"].strip().lower()).strip("_")
    return f"{stem}_{suffix}" if suffix and unit != "1" else stem


class _Days:
    """Gives the events of one day their order: noon, and a minute more for each row."""

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone
        self.rows: dict[tuple[str, date], int] = {}

    def event(self, row: _Reader) -> None:
        """Read one event."""
        code, kind = row.need("specimen", _code), row.need("event", lambda r: kind_of(text_of(r)))
        day = row.need("date", day_of)
        hour = row.get("time", time_of)
        payload = None
        if kind is not None:
            text = text_of(row.cells["details"][1]) if row.given("details") else ""
            row.cells.setdefault("details", ("details", ""))
            payload = row.get("details", lambda raw: payload_of(kind, text))
        if not row.is_sound or code is None or kind is None or day is None or payload is None:
            return
        hour = hour or day[1]
        when = f"{day[0].isoformat()} {hour.isoformat()}" if hour else day[0].isoformat()
        said = {"specimen": code, "kind": kind, "when": when, "payload": payload}
        key = str(uuid.uuid5(_NAMESPACE, canonical_json(said)))
        at = self._instant(code, day[0], hour)
        row.history.events.append(EventRow(row.place, key, code, kind, at, payload))

    def _instant(self, code: str, day: date, hour: time | None) -> datetime:
        if hour is not None:
            return datetime.combine(day, hour, tzinfo=self.zone).astimezone(UTC)
        before = self.rows.get((code, day), 0)
        self.rows[code, day] = before + 1
        noon = datetime.combine(day, NOON, tzinfo=self.zone).astimezone(UTC)
        return noon + timedelta(minutes=before)


def _result(row: _Reader) -> None:
    code = row.need("specimen", _code)
    name = row.need("result", lambda raw: result_of(text_of(raw)))
    like = KNOWN_RESULTS[name] if name else ""
    value = row.need("value", number_of)
    unit = row.need("unit", lambda raw: unit_of(text_of(raw), like=like))
    u, at = row.get("standard uncertainty", _uncertainty), row.get("load cycle", whole_of)
    method, raw_record = row.get("method", _short(40)), row.get("raw record", _short(255))
    day = row.get("measured on", day_of)
    base = scale = None
    if name and unit and value is not None:
        target = KNOWN_RESULTS[name]
        base = row.get("unit", lambda raw: convert(value, unit, target))
        scale = (
            row.get("unit", lambda raw: convert(1.0, unit, target)) if base is not None else None
        )
        _check_cycle(row, name, at)
    if not row.is_sound or code is None or name is None or base is None or scale is None:
        return
    row.history.results.append(
        ResultRow(
            row.place,
            code,
            name,
            base,
            KNOWN_RESULTS[name],
            f"{text_of(row.cells['value'][1])} {text_of(row.cells['unit'][1])}",
            u=None if u is None else u * scale,
            at=at,
            method=method or "",
            measured_on=day[0] if day else None,
            raw_record=raw_record or "",
        )
    )


def _uncertainty(raw: Any) -> float:
    value = number_of(raw)
    if value < 0:
        raise CellWrong("history.uncertainty", NEGATIVE.format(text=text_of(raw)))
    return value


def _check_cycle(row: _Reader, name: str, at: int | None) -> None:
    shown = name.replace("_", " ")
    if name in BY_CYCLE and at is None:
        row.wrong("load cycle", "history.cycle", CYCLE_NEEDED.format(name=shown))
    if name not in BY_CYCLE and at is not None:
        row.wrong("load cycle", "history.cycle", CYCLE_NOT.format(name=shown))
