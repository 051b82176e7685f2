"""Correct an imported number, or say that it counts no more; what it was stays visible."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding
from labmatrix.evidence.services.ledger import entry_content, ledger_append, ledger_transaction
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.kernel.text import check_seen
from labmatrix.kernel.units import conversion
from labmatrix.matrix.domain.wording import check_text
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from results.domain.history.cells import number_of, text_of, unit_of
from results.domain.history.places import CellWrong
from results.models import TypedCorrection, TypedResult
from results.selectors.imported import standing

KIND = "typed-correction"
WHY_MAX = 400
CHANGED = (
    "{name} of {code} was corrected meanwhile: it is now {said}. Look at it again and say what is "
    "still wrong."
)
STRUCK = "{name} of {code} is struck already; give a value to have it count again."
SAME = "{name} of {code} is {said} already; give another value, or leave it."
NEGATIVE = "The standard uncertainty is {text}; it is not below zero."


@dataclass(frozen=True)
class Given:
    """What a number should have been, as a person gives it: value and u in ``unit``."""

    value: Any
    unit: str
    u: Any = None


def correction_body(made: TypedCorrection) -> dict[str, Any]:
    """What the ledger holds of a correction, with what it corrects."""
    row = made.result
    return {
        "result": {"id": row.pk, "name": row.name, "method": row.method, "at": row.at},
        "place": made.place,
        "value": made.value,
        "u": made.u,
        "unit": row.unit,
        "said": made.said,
        "why": made.why,
    }


def imported_correct(
    *,
    actor: Person,
    number: TypedResult,
    given: Given | None,
    why: str,
    seen: int,
    now: datetime,
) -> TypedCorrection:
    """Put an imported number right, or strike it.

    Args:
        actor: a lead of the programme.
        number: with its subject and its workbook's programme.
        given: what it should have been; None where it is to count no more.
        why: the reason.
        seen: how many corrections it had when the person looked at it.
        now: when.

    Raises:
        NotFound: the actor is not a lead of the programme.
        ShapeError: what was given is no number, or has a unit of another kind; no reason.
        RuleBroken: ``imported.changed`` where somebody was faster, ``imported.same`` where nothing
            would change.
    """
    require(programme_role(actor, number.source.programme), Action.CORRECT_IMPORTED)
    reason = check_text(why, argument="The reason", at_most=WHY_MAX)
    value, u, said = (None, None, "") if given is None else _read(given, number.unit)
    with ledger_transaction():
        before = standing(number)
        told = {"name": number.name.replace("_", " "), "code": number.subject.code}
        if before.seen != seen:
            now_said = "struck" if before.is_struck else before.said
            raise RuleBroken("imported.changed", CHANGED.format(**told, said=now_said))
        if value is None and before.is_struck:
            raise RuleBroken("imported.same", STRUCK.format(**told))
        if not before.is_struck and (value, u) == (before.value, before.u):
            raise RuleBroken("imported.same", SAME.format(**told, said=before.said))
        made = TypedCorrection(
            result=number,
            place=seen + 1,
            value=value,
            u=u,
            said=said,
            why=reason,
            made_by=str(actor.id),
            made_at=now,
        )
        made.entry = ledger_append(
            actor=str(actor.id),
            kind=KIND,
            subject=number.subject.code,
            body=correction_body(made),
            now=now,
        )
        made.save(force_insert=True)
        return made


def _read(given: Given, unit: str) -> tuple[float, float | None, str]:
    """Value and standard uncertainty in the number's unit, and what was said."""
    try:
        name = "The unit"
        source = unit_of(check_seen(given.unit, argument="unit", at_most=20))
        name = "The value"
        value = number_of(given.value)
        name = "The standard uncertainty"
        u = None if given.u is None or given.u == "" else number_of(given.u)
    except CellWrong as error:
        raise ShapeError(error.code, f"{name}: {error.words}") from error
    if u is not None and u < 0:
        raise ShapeError("history.uncertainty", NEGATIVE.format(text=text_of(given.u)))
    factor, offset = conversion(source, unit)
    said = f"{text_of(given.value)} {source}"[:80]
    return value * factor + offset, None if u is None else u * factor, said


def correction_mirror() -> Iterator[Finding]:
    """Corrections that differ from their ledger entry, and entries whose row is gone."""
    rows = TypedCorrection.objects.select_related("entry", "result__subject").order_by("entry_id")
    for made in rows.iterator(chunk_size=1000):
        expected = entry_content(
            seq=made.entry.seq,
            recorded_at=made.made_at,
            actor=made.made_by,
            kind=KIND,
            subject=made.result.subject.code,
            body=correction_body(made),
        )
        if expected != made.entry.content:
            words = "the correction's row and the ledger's text differ"
            yield Finding(made.entry.seq, f"correction {made.pk}", words)
    gone = LedgerEntry.objects.filter(kind=KIND, typed_correction__isnull=True)
    for entry in gone.order_by("seq").iterator(chunk_size=1000):
        yield Finding(entry.seq, "correction", "the ledger holds a correction whose row is gone")
