"""Append to the ledger, and check it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import connection, transaction

from labmatrix.evidence.guards import ZERO_HASH
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding, mirrors
from labmatrix.evidence.services.rows import rows_insert
from labmatrix.kernel.canonical import canonical_json, sha256_text
from labmatrix.kernel.clock import iso

# Any constant does, as long as nothing else in the database uses it for an advisory lock.
_LOCK_ID = 5_190_314


@contextmanager
def ledger_transaction() -> Iterator[None]:
    """A transaction that may append: the ledger's lock is taken first, so none can deadlock.

    On SQLite an immediate transaction is already the only writer.
    """
    with transaction.atomic():
        if connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK_ID])
        yield


def entry_content(
    *, seq: int, recorded_at: datetime, actor: str, kind: str, subject: str, body: Mapping[str, Any]
) -> str:
    """The text of an entry that its hash covers."""
    return canonical_json(
        {
            "seq": seq,
            "recorded_at": recorded_at,
            "actor": actor,
            "kind": kind,
            "subject": subject,
            "body": body,
        }
    )


def chained_hash(previous_hash: str, content: str) -> str:
    """SHA-256 of the previous entry's hash, a line feed, and this entry's text."""
    return sha256_text(f"{previous_hash}\n{content}")


@dataclass(frozen=True)
class Draft:
    """A fact that is about to enter the ledger."""

    actor: str
    kind: str
    subject: str
    body: Mapping[str, Any]


def ledger_append(
    *, actor: str, kind: str, subject: str, body: Mapping[str, Any], now: datetime
) -> LedgerEntry:
    """Add one fact at the end of the chain; only inside ``ledger_transaction``.

    Raises:
        RuntimeError: outside a transaction, where the fact and its effect could part.
    """
    return ledger_append_many(drafts=[Draft(actor, kind, subject, body)], now=now)[0]


def ledger_append_many(*, drafts: Sequence[Draft], now: datetime) -> list[LedgerEntry]:
    """Add facts in their order; only inside ``ledger_transaction``.

    Raises:
        RuntimeError: outside a transaction.
    """
    if not connection.in_atomic_block:
        raise RuntimeError("a ledger entry belongs into the transaction of what it records")
    last = LedgerEntry.objects.order_by("-seq").only("seq", "entry_hash").first()
    seq, previous = (last.seq, last.entry_hash) if last else (0, ZERO_HASH)
    entries = []
    for place, draft in enumerate(drafts, start=seq + 1):
        content = entry_content(
            seq=place,
            recorded_at=now,
            actor=draft.actor,
            kind=draft.kind,
            subject=draft.subject,
            body=draft.body,
        )
        entry_hash = chained_hash(previous, content)
        entries.append(
            LedgerEntry(
                seq=place,
                recorded_at=now,
                actor=draft.actor,
                kind=draft.kind,
                subject=draft.subject,
                content=content,
                previous_hash=previous,
                entry_hash=entry_hash,
            )
        )
        previous = entry_hash
    rows_insert(entries)
    return entries


def plan_change(
    *,
    actor: str,
    subject: str,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
    why: str,
) -> Draft:
    """A change to planned data: what it was, what it is, and why."""
    return Draft(actor, "plan", subject, {"before": before, "after": after, "why": why})


def plan_change_append(
    *,
    actor: str,
    subject: str,
    before: Mapping[str, Any] | None,
    after: Mapping[str, Any] | None,
    why: str,
    now: datetime,
) -> LedgerEntry:
    """Record a change to planned data: what it was, what it is, and why."""
    draft = plan_change(actor=actor, subject=subject, before=before, after=after, why=why)
    return ledger_append_many(drafts=[draft], now=now)[0]


def _entry_findings(entry: LedgerEntry, seq: int, previous: str) -> Iterator[Finding]:
    if entry.seq != seq:
        yield Finding(seq, "seq", f"entry {seq} is missing; the next one is {entry.seq}")
    elif entry.previous_hash != previous:
        yield Finding(entry.seq, "previous_hash", "it does not continue the entry before it")
    if chained_hash(entry.previous_hash, entry.content) != entry.entry_hash:
        yield Finding(entry.seq, "content", "its text no longer gives its hash")
    try:
        said = json.loads(entry.content)
        columns = {
            "seq": entry.seq,
            "recorded_at": iso(entry.recorded_at),
            "actor": entry.actor,
            "kind": entry.kind,
            "subject": entry.subject,
        }
        for name, value in columns.items():
            if said.get(name) != value:
                yield Finding(
                    entry.seq, name, f"the column says {value!r}, its text says {said.get(name)!r}"
                )
    except (ValueError, AttributeError) as error:
        yield Finding(entry.seq, "content", f"its text is no longer JSON ({error})")


def ledger_verify() -> Iterator[Finding]:
    """Walk the whole chain, then the tables that repeat it; yields what is wrong, located."""
    seq, previous = 1, ZERO_HASH
    for entry in LedgerEntry.objects.order_by("seq").iterator(chunk_size=2000):
        yield from _entry_findings(entry, seq, previous)
        seq, previous = entry.seq + 1, entry.entry_hash
    for mirror in mirrors():
        yield from mirror()


def ledger_head() -> dict[str, Any]:
    """Count and hash of the chain's end, to be lodged outside: {entries, head, recorded_at}."""
    last = LedgerEntry.objects.order_by("-seq").first()
    if last is None:
        return {"entries": 0, "head": ZERO_HASH, "recorded_at": None}
    return {"entries": last.seq, "head": last.entry_hash, "recorded_at": iso(last.recorded_at)}
