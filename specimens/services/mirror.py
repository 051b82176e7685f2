"""Events repeat what the ledger says; both are compared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding
from labmatrix.evidence.services.ledger import entry_content
from specimens.models import Event


def event_body(event: Event) -> dict[str, Any]:
    """What the ledger holds of an event."""
    return {
        "id": str(event.id),
        "kind": event.kind,
        "occurred_at": event.occurred_at,
        "received_at": event.received_at,
        "device_at": event.device_at,
        "device": event.device,
        "sequence": event.sequence,
        "skew_seconds": event.skew_seconds,
        "payload": event.payload,
        "corrects": event.corrects,
    }


def first_difference(one: str, other: str) -> int:
    """Index of the first byte in which two texts differ; the shorter length if one begins both."""
    a, b = one.encode(), other.encode()
    return next(
        (i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b))
    )


def _finding(event: Event, entry: LedgerEntry) -> Finding | None:
    expected = entry_content(
        seq=entry.seq,
        recorded_at=entry.recorded_at,
        actor=event.actor,
        kind="event",
        subject=event.subject.code,
        body=event_body(event),
    )
    if expected == entry.content:
        return None
    at = first_difference(expected, entry.content)
    around = slice(max(0, at - 20), at + 20)
    return Finding(
        entry.seq,
        f"event {event.id}",
        f"the event's row and the ledger's text differ from byte {at}: the row gives "
        f"{expected[around]!r}, the ledger {entry.content[around]!r}",
    )


def event_mirror() -> Iterator[Finding]:
    """Events that differ from their ledger entry, and entries whose event is gone."""
    events = Event.objects.select_related("entry", "subject").order_by("entry_id")
    for event in events.iterator(chunk_size=1000):
        finding = _finding(event, event.entry)
        if finding is not None:
            yield finding
    orphans = LedgerEntry.objects.filter(kind="event", event__isnull=True).order_by("seq")
    for entry in orphans.iterator(chunk_size=1000):
        yield Finding(entry.seq, "event", "the ledger holds an event whose row is gone")
