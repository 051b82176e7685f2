"""Rows written many at once are those that the ordinary way writes, and the guards see them."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.db import DatabaseError, transaction

from labmatrix.evidence.models import LedgerEntry, Subject
from labmatrix.evidence.services.ledger import Draft, ledger_append_many, ledger_transaction
from labmatrix.evidence.services.rows import rows_insert

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 3, 1, 9, 30, 0, 125000, tzinfo=UTC)


def entries() -> list[LedgerEntry]:
    drafts = [Draft("somebody", "note", "QV-B07", {"text": f"ply {n}", "n": n}) for n in range(3)]
    with ledger_transaction():
        return ledger_append_many(drafts=drafts, now=NOW)


def test_every_column_comes_back_as_it_was_given():
    made = entries()
    assert [row._state.adding for row in made] == [False, False, False]
    stored = list(LedgerEntry.objects.order_by("seq"))
    names = [field.attname for field in LedgerEntry._meta.concrete_fields]
    assert [[getattr(a, n) for n in names] for a in made] == [
        [getattr(b, n) for n in names] for b in stored
    ]


def test_keys_that_the_database_counts_up_are_left_to_it():
    rows_insert([Subject(code=f"S-{n}", kind=Subject.Kind.SPECIMEN) for n in range(3)])
    assert len(set(Subject.objects.values_list("pk", flat=True))) == 3


def test_the_chain_is_guarded_here_as_anywhere():
    last = entries()[-1]
    gap = LedgerEntry(
        seq=last.seq + 2,
        recorded_at=NOW,
        actor="somebody",
        kind="note",
        subject="QV-B07",
        content="{}",
        previous_hash=last.entry_hash,
        entry_hash="0" * 64,
    )
    with pytest.raises(DatabaseError), transaction.atomic():
        rows_insert([gap])
    assert LedgerEntry.objects.count() == 3


def test_one_that_the_database_refuses_leaves_none_of_them():
    Subject.objects.create(code="S-1", kind=Subject.Kind.SPECIMEN)
    rows = [Subject(code=f"S-{n}", kind=Subject.Kind.SPECIMEN) for n in (0, 1, 2)]
    with pytest.raises(DatabaseError), transaction.atomic():
        rows_insert(rows)
    assert list(Subject.objects.values_list("code", flat=True)) == ["S-1"]


def test_nothing_to_write_writes_nothing():
    rows_insert([])
    assert not LedgerEntry.objects.exists()
