"""Type what a material test gave, and strike what was typed wrong."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Any

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding
from labmatrix.evidence.services.ledger import entry_content, ledger_append, ledger_transaction
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from specimens.domain.typed_test import check_typed
from specimens.models import Lot, TypedTest
from specimens.services.lot import check_words

KIND = "typed-test"
TESTED_LATER = "tested_on is {tested}, which is still to come; today is {today}."
TESTED_BEFORE = (
    "tested_on is {tested}, before {lot} was made on {made}; allowed is that day or after."
)
STRUCK_ALREADY = "The test {mark} is struck already."
WHY_STRUCK = "Say why what was typed is struck."


def typed_test_body(test: TypedTest) -> dict[str, Any]:
    """What the ledger holds of a typed test."""
    return {
        "id": str(test.id),
        "test": test.test,
        "mark": test.mark,
        "tested_on": test.tested_on.isoformat(),
        "values": test.values,
        "note": test.note,
        "strikes": str(test.strikes_id) if test.strikes_id else None,
    }


def typed_test_add(
    *,
    actor: Person,
    lot: Lot,
    test: str,
    mark: str,
    tested_on: date,
    values: Mapping[str, Any],
    now: datetime,
    note: str = "",
) -> TypedTest:
    """Keep what a person typed of one test; it is marked as typed, with who and when.

    Args:
        actor: who types.
        lot: what was tested.
        test: one that its kind of material has.
        mark: on the piece.
        tested_on: day of the test.
        values: names of ``specimens.domain.typed_test.TESTS``, the unit in each.
        now: the instant of the entry.
        note: anything else.

    Raises:
        NotFound: not the person's to do.
        ShapeError, RangeError: what does not fit, in a sentence.
    """
    require(programme_role(actor, lot.programme), Action.LOG_EVENT)
    kept = check_typed(lot.kind, test, values)
    if tested_on > now.date():
        words = TESTED_LATER.format(tested=tested_on, today=now.date())
        raise ShapeError("typed-test.later", words)
    if lot.made_on is not None and tested_on < lot.made_on:
        words = TESTED_BEFORE.format(tested=tested_on, lot=lot.code, made=lot.made_on)
        raise ShapeError("typed-test.before", words)
    row = TypedTest(
        id=uuid.uuid4(),
        lot=lot,
        test=test,
        mark=check_words(mark, argument="mark", at_most=40),
        tested_on=tested_on,
        values=kept,
        note=check_words(note, argument="note", at_most=400, empty=True),
        typed_at=now,
        typed_by=str(actor.id),
    )
    with ledger_transaction():
        return _kept(row, now)


def _kept(row: TypedTest, now: datetime) -> TypedTest:
    row.entry = ledger_append(
        actor=row.typed_by, kind=KIND, subject=row.lot.code, body=typed_test_body(row), now=now
    )
    row.save(force_insert=True)
    return row


def typed_test_strike(*, actor: Person, test: TypedTest, why: str, now: datetime) -> TypedTest:
    """Take a typed test out of every number; it stays readable, with who struck it and why.

    Raises:
        NotFound: not the person's to do.
        ShapeError: ``typed-test.why`` without a reason.
        RuleBroken: ``typed-test.struck``, struck before, or itself a strike.
    """
    require(programme_role(actor, test.lot.programme), Action.LOG_EVENT)
    told = check_words(why, argument="why", at_most=400, empty=True)
    if not told:
        raise ShapeError("typed-test.why", WHY_STRUCK)
    with ledger_transaction():
        if test.strikes_id or TypedTest.objects.filter(strikes=test).exists():
            raise RuleBroken("typed-test.struck", STRUCK_ALREADY.format(mark=test.mark))
        row = TypedTest(
            id=uuid.uuid4(),
            lot=test.lot,
            test=test.test,
            mark=test.mark,
            tested_on=test.tested_on,
            values={},
            note=told,
            strikes=test,
            typed_at=now,
            typed_by=str(actor.id),
        )
        return _kept(row, now)


def typed_test_mirror() -> Iterator[Finding]:
    """Typed tests that differ from their ledger entry, and entries whose test is gone."""
    rows = TypedTest.objects.select_related("entry", "lot").order_by("entry_id")
    for row in rows.iterator(chunk_size=1000):
        expected = entry_content(
            seq=row.entry.seq,
            recorded_at=row.typed_at,
            actor=row.typed_by,
            kind=KIND,
            subject=row.lot.code,
            body=typed_test_body(row),
        )
        if expected != row.entry.content:
            yield Finding(
                row.entry.seq,
                f"typed test {row.pk}",
                f"the row of {iso(row.typed_at)} gives {expected!r}, the ledger "
                f"{row.entry.content!r}",
            )
    orphans = LedgerEntry.objects.filter(kind=KIND, typed_test__isnull=True)
    for entry in orphans.order_by("seq").iterator(chunk_size=1000):
        yield Finding(entry.seq, "typed test", "the ledger holds a typed test whose row is gone")
