"""What a workbook would add to a programme, and every row that does not fit what is there."""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any, TypeVar

from django.db.models import Count, Max

from labmatrix.evidence.models import Subject
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.models import Cell, Programme
from labmatrix.matrix.selectors.cell import cell_get_route, cell_list_of_series
from labmatrix.web.models import Person
from results.domain.history.book import SPECIMENS
from results.domain.history.places import HistoryRefused, Place
from results.domain.history.rows import EventRow, History, ResultRow, SpecimenRow
from results.models import TypedResult
from results.selectors.imported import Standing, standing
from results.services.history_beside import (
    DIFFERS,
    NEW,
    THERE,
    ever,
    result_beside,
    said,
    specimen_beside,
)
from specimens.domain.event import EventFact
from specimens.domain.fold import fold
from specimens.domain.plan import Plan
from specimens.models import Event, Specimen
from specimens.services.history import EventPast, SpecimenPast, past_fact
from specimens.services.specimen import check_locations, check_measured

Report = Callable[[float, str], None]
Key = tuple[str, str, str, int | None]
Item = TypeVar("Item")
_BATCH = 500
_TOLD_EVERY = 250
NO_CELL = "the programme {programme} has no cell {cell} in a series {series}; known are {known}."
OTHER_CELL = (
    "{code} is there already, in the cell {cell} of {series}; a specimen stays in its cell."
)
CODE_TAKEN = "the code {code} is on another label of the laboratory."
CELL_FULL = (
    "the cell {cell} is planned with {planned} specimens and would have {have} with this one; "
    "change the plan first."
)
UNKNOWN = "the specimen {code} is neither in the sheet Specimens nor in the programme {programme}."
CONFLICT = "it cannot be true beside what else is said of {code}: {words}"
OTHER_VALUE = (
    "{name} of {code} was taken in before as {before}, and stays. Put it right on the page of the "
    "imported numbers of {code}, or give this one a method of its own to keep both."
)
ANOTHER = (
    "{code}: {kind}, {day}; another of that day is there and says something else: this one comes "
    "beside it. Correct the event instead, if the workbook was put right"
)


@dataclass
class HistoryPlan:
    """What is new in a file, and how much of it is there already."""

    specimens: list[SpecimenPast] = field(default_factory=list)
    events: list[EventPast] = field(default_factory=list)
    results: list[ResultRow] = field(default_factory=list)
    unchanged: Counter[str] = field(default_factory=Counter)
    deviations: int = 0
    rows: list[dict[str, str]] = field(default_factory=list)
    differs: int = 0

    def summary(self) -> dict[str, Any]:
        """Counts, and the first rows as a person reads them; JSON-ready."""
        return {
            "new": {
                "specimens": len(self.specimens),
                "events": len(self.events),
                "results": len(self.results),
            },
            "unchanged": {
                name: self.unchanged[name] for name in ("specimens", "events", "results")
            },
            "deviations": self.deviations,
            "differs": self.differs,
            "rows": self.rows,
        }


def _parts(items: Iterable[Item]) -> list[list[Item]]:
    every = list(items)
    return [every[start : start + _BATCH] for start in range(0, len(every), _BATCH)]


class Planner:
    """One file against one programme."""

    def __init__(self, actor: Person, programme: Programme, history: History) -> None:
        self.actor, self.programme, self.history = actor, programme, history
        self.plan = HistoryPlan()
        self.cells: dict[tuple[str, str], Cell] = {}
        for series in programme.series.all():
            for cell in cell_list_of_series(series):
                self.cells[series.code, cell.code] = cell
        codes = {row.code for row in history.specimens}
        codes |= {event.specimen for event in history.events}
        codes |= {result.specimen for result in history.results}
        self.there = self._specimens_there(codes)
        self.taken = self._labels(history.specimens)
        self.routes: dict[int, tuple[dict[str, Any], Plan]] = {}
        self.new: dict[str, SpecimenPast] = {}

    def _specimens_there(self, codes: set[str]) -> dict[str, Specimen]:
        found: dict[str, Specimen] = {}
        for part in _parts(sorted(codes)):
            rows = Specimen.objects.filter(
                code__in=part, subject__programme_code=self.programme.code
            )
            found |= {row.code: row for row in rows.select_related("cell__series", "subject")}
        return found

    def _labels(self, rows: Sequence[SpecimenRow]) -> set[str]:
        wanted = {row.code for row in rows}
        wanted |= {f"{row.code}-{name}" for row in rows for name in row.locations}
        taken: set[str] = set()
        for part in _parts(sorted(wanted)):
            taken |= set(Subject.objects.filter(code__in=part).values_list("code", flat=True))
        return taken - set(self.there)

    def made(self, report: Report) -> HistoryPlan:
        """The plan.

        Raises:
            HistoryRefused: anything is wrong, with all of it.
        """
        report(0.25, "looking at the specimens")
        self._specimens()
        self._events(report)
        report(0.8, "looking at the results")
        self._results()
        if self.history.problems:
            raise HistoryRefused(self.history.problems)
        self.plan.specimens = list(self.new.values())
        return self.plan

    def _specimens(self) -> None:
        have = {
            row["cell"]: (row["n"], row["last"] or 0)
            for row in Specimen.objects.filter(cell__in=[c.pk for c in self.cells.values()])
            .order_by()
            .values("cell")
            .annotate(n=Count("id"), last=Max("number"))
        }
        counts = {key: n for key, (n, _) in have.items()}
        numbers = {key: last for key, (_, last) in have.items()}
        for row in self.history.specimens:
            cell = self._cell_of(row)
            if cell is None or not self._fits(row, cell):
                continue
            counts[cell.pk] = counts.get(cell.pk, 0) + 1
            numbers[cell.pk] = numbers.get(cell.pk, 0) + 1
            if counts[cell.pk] > cell.replicates:
                words = CELL_FULL.format(
                    cell=cell.code, planned=cell.replicates, have=counts[cell.pk]
                )
                self.history.say(row.place.at("cell"), "specimen.cell-full", words)
                continue
            route, plan = self._route(cell)
            self.new[row.code] = SpecimenPast(
                row.code, cell, numbers[cell.pk], route, row.locations, row.measured, plan
            )
            self._tell(row.place, NEW, f"{row.code} into {cell.code}")

    def _tell(self, place: Place, what: str, words: str) -> None:
        self.plan.differs += what == DIFFERS
        told = {"sheet": place.sheet, "row": str(place.row), "what": what, "words": words}
        self.plan.rows.append(told)

    def _cell_of(self, row: SpecimenRow) -> Cell | None:
        cell = self.cells.get((row.series, row.cell))
        if cell is None:
            known = ", ".join(f"{series} {cell}" for series, cell in sorted(self.cells))
            words = NO_CELL.format(
                programme=self.programme.code,
                cell=row.cell,
                series=row.series,
                known=known[:300] or "none",
            )
            self.history.say(row.place.at("cell"), "history.cell-unknown", words)
        return cell

    def _fits(self, row: SpecimenRow, cell: Cell) -> bool:
        """Whether the row makes a specimen; what is there already makes none."""
        before = self.there.get(row.code)
        if before is not None:
            if before.cell_id == cell.pk:
                self.plan.unchanged["specimens"] += 1
                self._tell(row.place, *specimen_beside(row, before))
            else:
                words = OTHER_CELL.format(
                    code=row.code, cell=before.cell.code, series=before.cell.series.code
                )
                self.history.say(row.place.at("cell"), "history.other-cell", words)
            return False
        for code in (row.code, *(f"{row.code}-{name}" for name in row.locations)):
            if code in self.taken:
                words = CODE_TAKEN.format(code=code)
                self.history.say(row.place.at("specimen"), "specimen.code-taken", words)
                return False
        try:
            check_locations(row.locations)
            check_measured(row.measured)
        except UserError as error:
            self.history.say(row.place, error.code, error.message)
            return False
        return True

    def _route(self, cell: Cell) -> tuple[dict[str, Any], Plan]:
        """The route of a cell, resolved once, and as the fold takes it."""
        if cell.pk not in self.routes:
            route = cell_get_route(cell) if cell.series.route else None
            plain = route.as_dict() if route else {}
            self.routes[cell.pk] = plain, Plan(Specimen(route=plain).planned_route)
        return self.routes[cell.pk]

    def _known(self, code: str) -> bool:
        return code in self.new or code in self.there

    def _unknown(self, row: EventRow | ResultRow) -> None:
        words = UNKNOWN.format(code=row.specimen, programme=self.programme.code)
        if row.specimen not in self.history.named and SPECIMENS not in self.history.unread:
            self.history.say(row.place.at("specimen"), "history.specimen-unknown", words)

    def _events(self, report: Report) -> None:
        ids = [uuid.UUID(row.id) for row in self.history.events]
        stored: set[str] = set()
        for part in _parts(ids):
            found = Event.objects.filter(pk__in=part).values_list("pk", flat=True)
            stored |= {str(key) for key in found}
        fresh: dict[str, dict[str, EventRow]] = defaultdict(dict)
        for row in self.history.events:
            if not self._known(row.specimen):
                self._unknown(row)
            elif row.id in stored:
                self.plan.unchanged["events"] += 1
                words = f"{row.specimen}: {row.kind}, {_day(row.occurred_at)}, is there already"
                self._tell(row.place, THERE, words)
            else:
                fresh[row.specimen][row.id] = row
        before = self._facts_of(set(fresh) & set(self.there))
        for place, (code, rows) in enumerate(fresh.items()):
            if place % _TOLD_EVERY == 0:
                words = f"looking at the events of {place} of {len(fresh)} specimens"
                report(0.3 + 0.5 * place / len(fresh), words)
            self._fold(code, rows, before.get(code, []))

    def _facts_of(self, codes: set[str]) -> dict[str, list[EventFact]]:
        facts: dict[str, list[EventFact]] = defaultdict(list)
        for part in _parts(sorted(codes)):
            for event in Event.objects.filter(subject__code__in=part).select_related("subject"):
                facts[event.subject.code].append(event.as_fact())
        return facts

    def _fold(self, code: str, rows: dict[str, EventRow], before: list[EventFact]) -> None:
        facts = [
            past_fact(
                key=row.id,
                kind=row.kind,
                at=row.occurred_at,
                payload=row.payload,
                actor=self.actor,
            )
            for row in rows.values()
        ]
        there = self.there.get(code)
        route = Plan(there.planned_route) if there else self.new[code].plan
        folded = fold(code, [*before, *facts], route)
        if there is None:
            self.new[code] = replace(self.new[code], folded=folded)
        self.plan.deviations += len(folded.deviations)
        for conflict in folded.conflicts:
            row = rows.get(conflict.event)
            if row is not None:
                words = CONFLICT.format(code=code, words=conflict.words)
                self.history.say(row.place.at("event"), "history.conflict", words)
        self.plan.events += [EventPast(code, fact) for fact in facts]
        days = {(fact.kind, _day(fact.occurred_at)) for fact in before}
        for row in rows.values():
            day = _day(row.occurred_at)
            if (row.kind, day) in days:
                words = ANOTHER.format(code=code, kind=row.kind, day=day)
                self._tell(row.place, DIFFERS, words)
            else:
                self._tell(row.place, NEW, f"{code}: {row.kind}, {day}")

    def _results(self) -> None:
        typed = self._typed()
        for row in self.history.results:
            if not self._known(row.specimen):
                self._unknown(row)
                continue
            before = typed.get((row.specimen, row.name, row.method, row.at))
            name = row.name.replace("_", " ")
            if before is None:
                self.plan.results.append(row)
                self._tell(row.place, NEW, f"{row.specimen}: {name} {row.said}, imported")
            elif (row.value, row.u) in ever(before):
                self.plan.unchanged["results"] += 1
                self._tell(row.place, *result_beside(row, before))
            else:
                words = OTHER_VALUE.format(name=name, code=row.specimen, before=said(before))
                self.history.say(row.place.at("value"), "history.other-value", words)

    def _typed(self) -> dict[Key, Standing]:
        found: dict[Key, Standing] = {}
        for part in _parts(sorted({row.specimen for row in self.history.results})):
            rows = TypedResult.objects.filter(subject__code__in=part).select_related("subject")
            for row in rows.prefetch_related("corrections"):
                found[row.subject.code, row.name, row.method, row.at] = standing(row)
        return found


def _day(at: datetime) -> str:
    return at.date().isoformat()
