"""Read events, each with what became of it."""

from __future__ import annotations

import uuid
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Q, QuerySet

from labmatrix.evidence.models import Subject
from labmatrix.kernel.errors import NotFound
from labmatrix.kernel.text import check_storable
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed
from labmatrix.web.models import Person
from specimens.domain.corrections import standing_of
from specimens.domain.event import EventFact
from specimens.domain.order import in_order, is_skewed
from specimens.models import Event, SpecimenState
from specimens.selectors.access import programme_roles, subject_get

_REASON_SPACE = uuid.UUID("0d0c7a57-6a0b-5f0c-9f3a-5b6e3d2c1a90")
STANDS, STRUCK, IN_CONFLICT = "stands", "struck", "in conflict"


@dataclass(frozen=True)
class Standing:
    """What became of an event.

    Attributes:
        status: ``stands``, ``struck`` by a correction, or ``in conflict`` and without effect.
        by: id of the event that struck it.
        rule, words: of the conflict.
        is_skewed: the device's clock was off by more than two minutes.
    """

    status: str = STANDS
    by: str = ""
    rule: str = ""
    words: str = ""
    is_skewed: bool = False


def event_standings(folded: Mapping[str, Any]) -> dict[str, Standing]:
    """The standing of each event of a folded state that does not simply stand."""
    skewed = set(folded["skewed"])
    found = {key: Standing(is_skewed=True) for key in skewed}
    for key, by in folded["struck"].items():
        found[key] = Standing(STRUCK, by=by, is_skewed=key in skewed)
    for conflict in folded["conflicts"]:
        key = conflict["event"]
        if key not in folded["struck"]:
            found[key] = Standing(
                IN_CONFLICT,
                rule=conflict["rule"],
                words=conflict["words"],
                is_skewed=key in skewed,
            )
    return found


def event_list_ids(
    *, actor: Person, subject: str = "", kind: str = ""
) -> QuerySet[Event, uuid.UUID]:
    """Ids of the events that a person may see, in the order of their arrival.

    Raises:
        NotFound: a subject that is not there, or whose work is not theirs to see.
        ShapeError: ``input.text``.
    """
    check_storable([subject, kind], argument="the filter")
    found = Event.objects.filter(_visible(actor))
    if subject:
        action = Action.SEE_WORK
        found = found.filter(subject=subject_get(actor=actor, code=subject, action=action))
    if kind:
        found = found.filter(kind=kind)
    return found.order_by("entry_id").values_list("pk", flat=True)


def _visible(actor: Person) -> Q:
    codes = [c for c, role in programme_roles(actor).items() if allowed(role, Action.SEE_WORK)]
    seen = Q(subject__programme_code__in=codes)
    if allowed(actor.role, Action.SEE_MACHINES):
        seen |= Q(subject__kind=Subject.Kind.MACHINE)
    return seen


def event_list_page(ids: Sequence[uuid.UUID]) -> list[Event]:
    """The events of one page with their subjects, in the order of ids."""
    rows = Event.objects.select_related("subject").in_bulk(list(ids))
    return [rows[key] for key in ids if key in rows]


def event_standings_of(events: Iterable[Event]) -> dict[str, Standing]:
    """Standings of events of any subjects; two queries."""
    subjects = {event.subject_id for event in events}
    states = SpecimenState.objects.filter(specimen__subject_id__in=subjects)
    found: dict[str, Standing] = {}
    for subject, folded in states.values_list("specimen__subject_id", "folded"):
        found.update(event_standings(folded))
        subjects.discard(subject)
    return {**found, **_unfolded_standings(subjects)} if subjects else found


def _unfolded_standings(subjects: Iterable[int]) -> dict[str, Standing]:
    """Standings on machines and locations, whose events are corrected but have no rules."""
    facts: dict[int, list[EventFact]] = {}
    for event in Event.objects.filter(subject__in=subjects):
        facts.setdefault(event.subject_id, []).append(event.as_fact())
    found: dict[str, Standing] = {}
    for own in facts.values():
        ordered = in_order(own)
        standing = standing_of(ordered)
        skewed = {fact.id for fact in ordered if is_skewed(fact)}
        found.update({key: Standing(is_skewed=True) for key in skewed})
        for key, by in standing.struck.items():
            found[key] = Standing(STRUCK, by=by, is_skewed=key in skewed)
        for key, (rule, words) in standing.void.items():
            if key not in standing.struck:
                found[key] = Standing(IN_CONFLICT, rule=rule, words=words, is_skewed=key in skewed)
    return found


def event_list_of_subject(subject: Subject, most: int) -> list[Event]:
    """The events of a machine or a location, the newest ones, newest last."""
    rows = Event.objects.filter(subject=subject).select_related("subject")
    return list(rows.order_by("-occurred_at", "-entry_id")[:most])[::-1]


def event_get(*, actor: Person, event_id: uuid.UUID, action: Action) -> Event:
    """An event, if the person may do this with its subject.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    event = Event.objects.select_related("subject").filter(pk=event_id).first()
    if event is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    subject_get(actor=actor, code=event.subject.code, action=action)
    return event


def machine_codes() -> list[str]:
    """Codes of the laboratory's machines, to choose from when an event names one."""
    machines = Subject.objects.filter(kind=Subject.Kind.MACHINE)
    return list(machines.order_by("code").values_list("code", flat=True))


def reason_id(event_id: str) -> str:
    """Id of the note that says why an event replaced another: it follows from the event's id."""
    return str(uuid.uuid5(_REASON_SPACE, event_id))


def people_names(ids: Iterable[str]) -> dict[str, str]:
    """Names of people by their opaque ids; those whose name was erased are missing."""
    known = Person.objects.filter(pk__in={key for key in ids if key})
    return {str(person.pk): person.shown_name for person in known}


def facts_read(subjects: Collection[int]) -> Iterator[tuple[int, int, EventFact]]:
    """Every event of some subjects as the fold takes it: (subject, ledger entry, fact); one query.

    What ``Event.as_fact`` gives, without a row object for each, in no order.
    """
    rows = Event.objects.filter(subject_id__in=subjects).order_by().values_list(
        *("subject_id", "entry_id", "id", "kind", "occurred_at", "payload", "device_at"),
        *("device", "sequence", "skew_seconds", "corrects", "actor"),
    )  # fmt: skip
    for subject, entry, key, kind, at, payload, *more in rows.iterator(chunk_size=2000):
        device_at, device, sequence, skew, corrects, actor = more
        yield (
            subject,
            entry,
            EventFact(
                id=str(key),
                kind=kind,
                occurred_at=at,
                payload=payload,
                device_at=device_at,
                device=device,
                sequence=sequence,
                skew_seconds=skew,
                corrects=str(corrects) if corrects else None,
                actor=actor,
            ),
        )
