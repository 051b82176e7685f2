"""Write specimens and events of past years, many at once."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.ledger import Draft, ledger_append_many, ledger_transaction
from labmatrix.evidence.services.rows import rows_insert
from labmatrix.matrix.domain.route import Route
from labmatrix.matrix.models import Cell
from labmatrix.web.models import Person
from specimens.domain.event import IMPORTED, EventFact
from specimens.domain.fold import Folded, fold
from specimens.domain.plan import Plan
from specimens.models import Event, Location, Specimen, SpecimenState
from specimens.services.mirror import event_body
from specimens.services.projection import deviation_rows, specimen_project, state_values
from specimens.services.specimen import created_body

WHY = "taken from a workbook of past years"
NO_PLAN = Plan(Route(()))
_BATCH = 500


@dataclass(frozen=True)
class SpecimenPast:
    """A specimen to be written: its code, its cell, its number there, its resolved route.

    ``plan`` is the route as the fold takes it, ``folded`` what its events of the workbook mean.
    """

    code: str
    cell: Cell
    number: int
    route: Mapping[str, Any]
    locations: tuple[str, ...] = ()
    measured: Mapping[str, float] = field(default_factory=dict)
    plan: Plan = NO_PLAN
    folded: Folded | None = None


@dataclass(frozen=True)
class EventPast:
    """An event to be written, with the code of its specimen."""

    specimen: str
    fact: EventFact


def past_fact(
    *, key: str, kind: str, at: datetime, payload: Mapping[str, Any], actor: Person
) -> EventFact:
    """An event of a workbook as the fold takes it."""
    return EventFact(
        id=key,
        kind=kind,
        occurred_at=at,
        payload=dict(payload),
        device=IMPORTED,
        actor=str(actor.id),
    )


def past_write(
    *,
    actor: Person,
    programme_code: str,
    specimens: Sequence[SpecimenPast],
    events: Sequence[EventPast],
    source: Mapping[str, Any],
    now: datetime,
) -> None:
    """Write them all in one transaction; the caller has checked permission and that all fit.

    Args:
        actor: who takes them in.
        programme_code: whose they are.
        specimens: new ones, each folded from its events among these.
        events: new ones, of these specimens or of others that are there.
        source: file name and SHA-256 of the workbook, for the ledger.
        now: when.
    """
    with ledger_transaction():
        made = _specimens_write(actor, programme_code, specimens, source, now)
        rows = _events_write(actor, events, now)
        _project({one.code: one for one in specimens}, made, rows)


def _specimens_write(
    actor: Person,
    programme_code: str,
    specimens: Sequence[SpecimenPast],
    source: Mapping[str, Any],
    now: datetime,
) -> dict[str, Specimen]:
    subjects = _subjects([one.code for one in specimens], Subject.Kind.SPECIMEN, programme_code)
    rows = [
        Specimen(
            subject=subjects[one.code],
            code=one.code,
            cell=one.cell,
            number=one.number,
            route=dict(one.route),
            member=one.cell.series.member,
            measured=dict(one.measured),
            created_at=now,
        )
        for one in specimens
    ]
    made = {row.code: row for row in Specimen.objects.bulk_create(rows, batch_size=_BATCH)}
    places = [(made[one.code], name) for one in specimens for name in one.locations]
    codes = [f"{specimen.code}-{name}" for specimen, name in places]
    located = _subjects(codes, Subject.Kind.LOCATION, programme_code)
    Location.objects.bulk_create(
        [
            Location(subject=located[code], specimen=specimen, name=name)
            for code, (specimen, name) in zip(codes, places, strict=True)
        ],
        batch_size=_BATCH,
    )
    drafts = [
        Draft(
            str(actor.id),
            "plan",
            one.code,
            {
                "before": None,
                "after": {**created_body(made[one.code], one.locations), "source": dict(source)},
                "why": WHY,
            },
        )
        for one in specimens
    ]
    if drafts:
        ledger_append_many(drafts=drafts, now=now)
    return made


def _subjects(codes: Sequence[str], kind: str, programme_code: str) -> dict[str, Subject]:
    rows = [Subject(code=code, kind=kind, programme_code=programme_code) for code in codes]
    return {row.code: row for row in Subject.objects.bulk_create(rows, batch_size=_BATCH)}


def _events_write(actor: Person, events: Sequence[EventPast], now: datetime) -> list[Event]:
    if not events:
        return []
    codes = {one.specimen for one in events}
    subjects: dict[str, Subject] = {}
    for part in _parts(sorted(codes)):
        subjects |= {s.code: s for s in Subject.objects.filter(code__in=part)}
    rows = [
        Event(
            id=uuid.UUID(one.fact.id),
            subject=subjects[one.specimen],
            kind=one.fact.kind,
            occurred_at=one.fact.occurred_at,
            received_at=now,
            device=one.fact.device,
            payload=dict(one.fact.payload),
            actor=one.fact.actor,
        )
        for one in events
    ]
    drafts = [Draft(str(actor.id), "event", r.subject.code, event_body(r)) for r in rows]
    for row, entry in zip(rows, ledger_append_many(drafts=drafts, now=now), strict=True):
        row.entry = entry
    rows_insert(rows)
    return rows


def _parts(items: Sequence[str]) -> list[Sequence[str]]:
    return [items[start : start + _BATCH] for start in range(0, len(items), _BATCH)]


def _project(
    planned: Mapping[str, SpecimenPast], made: Mapping[str, Specimen], rows: Sequence[Event]
) -> None:
    own: dict[str, list[Event]] = defaultdict(list)
    for row in rows:
        own[row.subject.code].append(row)
    states, deviations = [], []
    for code, specimen in made.items():
        events, plan = own.pop(code, []), planned[code].plan
        folded = planned[code].folded or fold(code, [], plan)
        last_entry = max((event.entry_id for event in events), default=0)
        states.append(SpecimenState(specimen=specimen, **state_values(folded, last_entry, plan)))
        deviations += deviation_rows(specimen, folded)
    rows_insert(states)
    rows_insert(deviations)
    for part in _parts(sorted(own)):
        for specimen in Specimen.objects.filter(code__in=part).order_by("pk"):
            specimen_project(specimen)
