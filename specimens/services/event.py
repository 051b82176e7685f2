"""Admit events: schema, identity and permission decide; every admitted event is stored."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.ledger import Draft, ledger_append_many, ledger_transaction
from labmatrix.evidence.services.rows import rows_insert
from labmatrix.kernel.canonical import canonical_json
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound, ShapeError, UserError
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person
from specimens.domain.catalogue import LOCATION_KINDS, LOT_KINDS, MACHINE_KINDS
from specimens.domain.event import EventFact
from specimens.domain.fold import foresee
from specimens.domain.plan import Plan
from specimens.models import Event, Specimen
from specimens.selectors.access import programme_roles, subject_role
from specimens.services.event_parse import (
    event_names,
    event_parse,
    event_sent_id,
    event_subject_code,
)
from specimens.services.mirror import event_body
from specimens.services.projection import specimens_project

BATCH_MAX = 5000
ID_REUSED = "The id {id} belongs to another event already; a correction needs an id of its own."
MACHINE_KIND = "{kind!r} is not logged on a machine; there are {allowed}."
LOT_KIND = "{kind!r} is not logged on a lot of material; there are {allowed}."
LOCATION_KIND = (
    "{kind!r} is not logged on a location's own code but on its specimen; on the location there "
    "are {allowed}."
)


@dataclass(frozen=True)
class Answer:
    """What became of one event."""

    id: str
    answer: str
    error: dict[str, Any] | None = None

    def as_dict(self) -> dict[str, Any]:
        """{id, answer, error?}."""
        found: dict[str, Any] = {"id": self.id, "answer": self.answer}
        return {**found, "error": self.error} if self.error else found


@dataclass(frozen=True)
class Asked:
    """A well-formed request to log one event."""

    fact: EventFact
    subject: Subject


class _Admission:
    """One batch: knows the people's roles and the subjects, keeps the answers in order."""

    def __init__(self, actor: Person, skew_seconds: float) -> None:
        self.actor = actor
        self.skew_seconds = skew_seconds
        self.roles = programme_roles(actor)
        self.subjects: dict[str, Subject] = {}
        self.judged: set[str] = set()

    def preload(self, raws: Sequence[object]) -> None:
        """Read the subjects of a batch, and what its corrections are about."""
        codes = {code for raw in raws if (code := event_subject_code(raw)) is not None}
        found = Subject.objects.filter(code__in=sorted(codes))
        self.subjects = {subject.code: subject for subject in found}
        self.judged = _about_judgements(raws)

    def asked(self, raw: object) -> Asked:
        """A request that may be stored.

        Raises:
            UserError: why it may not.
        """
        code, fact = event_parse(raw, actor=self.actor, skew_seconds=self.skew_seconds)
        subject = self.subjects.get(code)
        if subject is None:
            raise NotFound("access.not-yours", NOT_YOURS)
        judges = fact.kind == "judged" or fact.names in self.judged
        action = Action.JUDGE if judges else Action.LOG_EVENT
        require(subject_role(subject, self.roles, self.actor), action)
        _check_kind_for(subject, fact.kind)
        return Asked(fact, subject)


def _about_judgements(raws: Sequence[object]) -> set[str]:
    """Events named by these that are judgements, or corrections that end at one.

    Who may not judge may not strike a judgement either, nor what struck one.
    """
    named = {key for raw in raws if (key := event_names(raw)) is not None}
    begun = {key: {key} for key in named}  # event on a path -> where its paths began
    ahead, found = set(named), set()
    while ahead:
        events = Event.objects.filter(pk__in=[uuid.UUID(key) for key in ahead])
        ahead = set()
        for event in events:
            roots = begun[str(event.pk)]
            if event.kind == "judged":
                found |= roots
            further = event.as_fact().names
            if further is not None and not roots <= begun.get(further, set()):
                begun.setdefault(further, set()).update(roots)
                ahead.add(further)
    return found


def _check_kind_for(subject: Subject, kind: str) -> None:
    if subject.kind == Subject.Kind.MACHINE and kind not in MACHINE_KINDS:
        words = MACHINE_KIND.format(kind=kind, allowed=", ".join(sorted(MACHINE_KINDS)))
        raise ShapeError("event.kind-not-for-machine", words)
    if subject.kind == Subject.Kind.LOCATION and kind not in LOCATION_KINDS:
        words = LOCATION_KIND.format(kind=kind, allowed=", ".join(sorted(LOCATION_KINDS)))
        raise ShapeError("event.kind-not-for-location", words)
    if subject.kind == Subject.Kind.LOT and kind not in LOT_KINDS:
        words = LOT_KIND.format(kind=kind, allowed=", ".join(sorted(LOT_KINDS)))
        raise ShapeError("event.kind-not-for-lot", words)


def _said(fact: EventFact, subject_id: int) -> str:
    """What the sender said: the identity of an event's content."""
    return canonical_json(
        {
            "subject": subject_id,
            "kind": fact.kind,
            "occurred_at": iso(fact.occurred_at),
            "device_at": iso(fact.device_at) if fact.device_at else None,
            "device": fact.device,
            "sequence": fact.sequence,
            "payload": fact.payload,
            "corrects": fact.corrects,
        }
    )


def events_receive(
    *, actor: Person, raws: Sequence[object], now: datetime, device_clock: datetime | None = None
) -> list[Answer]:
    """Admit a batch in one transaction; answers in the order sent.

    Args:
        actor: who logs.
        raws: events as they were sent.
        now: when the server received them.
        device_clock: the device's clock when it sent them; the skew is measured from it.

    Returns:
        ``stored``; ``duplicate`` for the same event sent again; ``conflict`` for an event that is
        kept without effect because it breaks a rule, or whose id belongs to another event;
        ``rejected`` for what is malformed or not the person's to log.

    Raises:
        ShapeError: ``event.batch`` for more events than one request may bring.
    """
    if len(raws) > BATCH_MAX:
        raise ShapeError(
            "event.batch", f"The batch has {len(raws)} events; allowed are {BATCH_MAX}."
        )
    skew = (now - device_clock).total_seconds() if device_clock else 0.0
    with ledger_transaction():
        admission = _Admission(actor, skew)
        admission.preload(raws)
        answers: list[Answer | None] = []
        fresh: dict[str, Asked] = {}
        known = _known_ids(raws)
        for raw in raws:
            answers.append(_first_answer(admission, raw, known, fresh))
        _store(list(fresh.values()), now)
        conflicts = _project({asked.subject.pk for asked in fresh.values()})
    return [
        answer or _final_answer(event_sent_id(raw), conflicts)
        for answer, raw in zip(answers, raws, strict=True)
    ]


def _known_ids(raws: Sequence[object]) -> dict[str, str]:
    ids = []
    for raw in raws:
        try:
            ids.append(uuid.UUID(str(raw.get("id")) if isinstance(raw, Mapping) else ""))
        except ValueError:
            continue  # said so when the event itself is read
    events = Event.objects.filter(id__in=ids)
    return {str(event.id): _said(event.as_fact(), event.subject_id) for event in events}


def _first_answer(
    admission: _Admission, raw: object, known: Mapping[str, str], fresh: dict[str, Asked]
) -> Answer | None:
    """The answer, or None for an event that is new and goes into ``fresh``."""
    sent_id = event_sent_id(raw)
    try:
        asked = admission.asked(raw)
    except UserError as error:
        return Answer(sent_id, "rejected", error.as_dict())
    key = asked.fact.id
    there = known.get(key)
    if there is None and key in fresh:
        there = _said(fresh[key].fact, fresh[key].subject.pk)
    if there is None:
        fresh[key] = asked
        return None
    if there == _said(asked.fact, asked.subject.pk):
        return Answer(sent_id, "duplicate")
    reused = ShapeError("event.id-reused", ID_REUSED.format(id=key), id=key)
    return Answer(sent_id, "conflict", reused.as_dict())


def _final_answer(sent_id: str, conflicts: Mapping[str, dict[str, Any]]) -> Answer:
    error = conflicts.get(str(uuid.UUID(sent_id)))
    return Answer(sent_id, "conflict" if error else "stored", error)


def _row(asked: Asked, now: datetime) -> Event:
    fact = asked.fact
    return Event(
        id=uuid.UUID(fact.id),
        subject=asked.subject,
        kind=fact.kind,
        occurred_at=fact.occurred_at,
        received_at=now,
        device_at=fact.device_at,
        device=fact.device,
        sequence=fact.sequence,
        skew_seconds=round(fact.skew_seconds, 3),
        payload=dict(fact.payload),
        corrects=uuid.UUID(fact.corrects) if fact.corrects else None,
        actor=fact.actor,
    )


def _store(asked: Sequence[Asked], now: datetime) -> None:
    if not asked:
        return
    rows = [_row(one, now) for one in asked]
    drafts = [Draft(r.actor, "event", r.subject.code, event_body(r)) for r in rows]
    for row, entry in zip(rows, ledger_append_many(drafts=drafts, now=now), strict=True):
        row.entry = entry
    rows_insert(rows)


def _project(subject_ids: set[int]) -> dict[str, dict[str, Any]]:
    """Fold the specimens that got events; what each event in conflict is told."""
    conflicts: dict[str, dict[str, Any]] = {}
    specimens = list(Specimen.objects.filter(subject_id__in=subject_ids).order_by("pk"))
    for specimen, state in zip(specimens, specimens_project(specimens), strict=True):
        for conflict in state.folded["conflicts"]:
            conflicts[conflict["event"]] = {
                "code": conflict["rule"],
                "message": conflict["words"],
                "facts": {"specimen": specimen.code},
            }
    return conflicts


def event_foresee(*, specimen: Specimen, fact: EventFact) -> str | None:
    """The sentence of the rule that an event would break if it were logged; None when it fits."""
    from_events = [event.as_fact() for event in Event.objects.filter(subject=specimen.subject)]
    found = foresee(specimen.code, from_events, fact, Plan(specimen.planned_route))
    return found.words if found else None
