"""Write what a workbook adds, and check typed results against the ledger."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from labmatrix.evidence.models import LedgerEntry, Subject
from labmatrix.evidence.registry import Finding
from labmatrix.evidence.services.ledger import (
    Draft,
    entry_content,
    ledger_append,
    ledger_append_many,
)
from labmatrix.evidence.services.rows import rows_insert
from labmatrix.web.models import Person
from results.domain.history.rows import ResultRow
from results.models import HistoryImport, TypedResult
from results.services.history_plan import HistoryPlan
from specimens.services.history import past_write

_BATCH = 500


def typed_body(row: TypedResult) -> dict[str, Any]:
    """What the ledger holds of a typed result."""
    return {
        "name": row.name,
        "method": row.method,
        "at": row.at,
        "value": row.value,
        "unit": row.unit,
        "u": row.u,
        "said": row.said,
        "measured_on": row.measured_on.isoformat() if row.measured_on else None,
        "raw_record": row.raw_record,
        "origin": "typed, no raw record",
        "source": str(row.source_id),
    }


def history_write(
    *, actor: Person, source: HistoryImport, plan: HistoryPlan, now: datetime
) -> None:
    """Write a plan, in the running ledger transaction; an empty one leaves no entry."""
    summary = plan.summary()
    if not any(summary["new"].values()):
        return
    told = {"filename": source.filename, "sha256": source.blob.sha256}
    ledger_append(
        actor=str(actor.id),
        kind="history",
        subject=f"programme/{source.programme.code}",
        body={**told, "import": str(source.pk), "new": summary["new"]},
        now=now,
    )
    past_write(
        actor=actor,
        programme_code=source.programme.code,
        specimens=plan.specimens,
        events=plan.events,
        source=told,
        now=now,
    )
    _results_write(actor, source, plan.results, now)


def _results_write(
    actor: Person, source: HistoryImport, results: list[ResultRow], now: datetime
) -> None:
    if not results:
        return
    subjects: dict[str, Subject] = {}
    codes = sorted({row.specimen for row in results})
    for start in range(0, len(codes), _BATCH):
        found = Subject.objects.filter(code__in=codes[start : start + _BATCH])
        subjects |= {subject.code: subject for subject in found}
    rows = [
        TypedResult(
            subject=subjects[row.specimen],
            name=row.name,
            method=row.method,
            at=row.at,
            value=row.value,
            unit=row.unit,
            u=row.u,
            said=row.said[:80],
            measured_on=row.measured_on,
            raw_record=row.raw_record,
            source=source,
        )
        for row in results
    ]
    drafts = [Draft(str(actor.id), "typed-result", r.subject.code, typed_body(r)) for r in rows]
    for row, entry in zip(rows, ledger_append_many(drafts=drafts, now=now), strict=True):
        row.entry = entry
    rows_insert(rows)


def typed_mirror() -> Iterator[Finding]:
    """Typed results that differ from their ledger entry, and entries whose row is gone."""
    rows = TypedResult.objects.select_related("entry", "subject").order_by("entry_id")
    for row in rows.iterator(chunk_size=1000):
        entry = row.entry
        expected = entry_content(
            seq=entry.seq,
            recorded_at=entry.recorded_at,
            actor=entry.actor,
            kind="typed-result",
            subject=row.subject.code,
            body=typed_body(row),
        )
        if expected != entry.content:
            words = "the typed result's row and the ledger's text differ"
            yield Finding(entry.seq, f"typed result {row.pk}", words)
    gone = LedgerEntry.objects.filter(kind="typed-result", typed_result__isnull=True)
    for entry in gone.order_by("seq").iterator(chunk_size=1000):
        yield Finding(entry.seq, "typed result", "the ledger holds a result whose row is gone")
