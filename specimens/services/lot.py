"""Add lots of material, and change what is specified of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.matrix.domain.code import SPECIMEN_CODE_MAX, check_code
from labmatrix.matrix.models import Programme
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person
from specimens.domain.lot import check_kind, check_specified
from specimens.models import Lot

CODE_TAKEN = "The code {code} is on another label."
SOURCE_MISSING = "Say where the specified values come from: the data sheet or the design."
MADE_LATER = "made_on is {made}, which is still to come; today is {today}."
WHY_MISSING = "Say why what is known of the lot changes."
CHANGEABLE = ("title", "made_on", "specified", "source", "note")


def check_words(text: object, *, argument: str, at_most: int, empty: bool = False) -> str:
    """A text without white space around it.

    Raises:
        ShapeError: ``input.text``.
    """
    check_storable(text, argument=argument)
    stripped = text.strip() if isinstance(text, str) else None
    if stripped is None or len(stripped) > at_most or not (stripped or empty):
        raise ShapeError(
            "input.text",
            f"{argument} is {str(text)[:80]!r}; allowed is a text of {0 if empty else 1} to "
            f"{at_most} characters.",
            argument=argument,
        )
    return stripped


def _fields(
    kind: str,
    *,
    title: Any,
    made_on: Any,
    specified: object,
    source: Any,
    note: Any,
    today: date,
) -> dict[str, Any]:
    kept = check_specified(kind, specified)
    told = check_words(source, argument="source", at_most=200, empty=True)
    if kept and not told:
        raise ShapeError("lot.source", SOURCE_MISSING)
    if made_on is not None and made_on > today:
        raise ShapeError("lot.made-later", MADE_LATER.format(made=made_on, today=today))
    return {
        "title": check_words(title, argument="title", at_most=160),
        "made_on": made_on,
        "specified": kept,
        "source": told,
        "note": check_words(note, argument="note", at_most=4000, empty=True),
    }


def lot_body(lot: Lot) -> dict[str, Any]:
    """What the ledger holds of a lot."""
    return {
        "programme": lot.programme.code,
        "kind": lot.kind,
        "title": lot.title,
        "made_on": lot.made_on.isoformat() if lot.made_on else None,
        "specified": lot.specified,
        "source": lot.source,
        "note": lot.note,
    }


def lot_add(
    *,
    actor: Person,
    programme: Programme,
    code: str,
    kind: str,
    title: str,
    now: datetime,
    made_on: date | None = None,
    specified: Mapping[str, Any] | None = None,
    source: str = "",
    note: str = "",
) -> Lot:
    """A lot, batch or heat by the code that events name it with.

    Args:
        actor: lead or manager of the programme.
        programme: whose material it is.
        code: as on its label; frozen.
        kind: ``fabric``, ``mortar``, ``concrete``, ``bar`` or ``anchor``.
        title: product or mix, in words.
        now: the instant of the entry.
        made_on: day on which it was mixed, or delivered; ages count from it.
        specified: names of ``specimens.domain.lot.SPECIFIED``, the unit in each.
        source: data sheet or design that says so; needed with ``specified``.
        note: anything else.

    Raises:
        NotFound: not the person's to do.
        RuleBroken: ``lot.code-taken``.
        ShapeError, RangeError: what does not fit, in a sentence.
    """
    require(programme_role(actor, programme), Action.KEEP_MATERIALS)
    kept = check_code(str(code), argument="The lot's code", at_most=SPECIMEN_CODE_MAX)
    told = {"title": title, "made_on": made_on, "source": source, "note": note}
    fields = _fields(check_kind(kind), specified=specified or {}, today=now.date(), **told)
    with ledger_transaction():
        if Subject.objects.filter(code=kept).exists():
            raise RuleBroken("lot.code-taken", CODE_TAKEN.format(code=kept), label=kept)
        subject = Subject.objects.create(
            code=kept, kind=Subject.Kind.LOT, programme_code=programme.code
        )
        lot = Lot.objects.create(
            subject=subject, code=kept, programme=programme, kind=kind, added_at=now, **fields
        )
        plan_change_append(
            actor=str(actor.id),
            subject=kept,
            before=None,
            after=lot_body(lot),
            why="added",
            now=now,
        )
    return lot


def lot_change(*, actor: Person, lot: Lot, why: str, now: datetime, **changes: Any) -> Lot:
    """Change what is specified of a lot, its title, day, source or note; code and kind stay.

    Args:
        actor: lead or manager of the programme.
        lot: which.
        why: the reason, kept in the ledger with before and after.
        now: the instant of the entry.
        changes: names of ``CHANGEABLE``; what is left out stays.

    Raises:
        NotFound: not the person's to do.
        ShapeError, RangeError: ``lot.why`` without a reason; what does not fit.
    """
    require(programme_role(actor, lot.programme), Action.KEEP_MATERIALS)
    told = check_words(why, argument="why", at_most=2000, empty=True)
    if not told:
        raise ShapeError("lot.why", WHY_MISSING)
    for name in changes:
        if name not in CHANGEABLE:
            raise ShapeError(
                "input.unknown",
                f"{name!r} cannot change; allowed are {', '.join(CHANGEABLE)}.",
            )
    with ledger_transaction():
        lot.refresh_from_db(fields=CHANGEABLE)
        before = lot_body(lot)
        now_said = {name: changes.get(name, getattr(lot, name)) for name in CHANGEABLE}
        for name, value in _fields(lot.kind, today=now.date(), **now_said).items():
            setattr(lot, name, value)
        after = lot_body(lot)
        if after != before:
            lot.save(update_fields=CHANGEABLE)
            plan_change_append(
                actor=str(actor.id),
                subject=lot.code,
                before=before,
                after=after,
                why=told,
                now=now,
            )
    return lot
