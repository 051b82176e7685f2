"""Write down exposure protocols."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from conditioning.domain.shapes import check_settings, check_text
from conditioning.models import Regime
from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain.code import check_code
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

CODE_TAKEN = "A regime with the code {code} is known already."
KIND_UNKNOWN = "kind is {kind!r}; allowed is {allowed}."
WHY_NEEDED = "Say why the regime changes."
CHANGEABLE = ("title", "text", "kind", "settings")
NOT_CHANGEABLE = "{names} cannot be changed; allowed are {allowed}."


def _checked(fields: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if "title" in fields:
        found["title"] = check_text(fields["title"], argument="title", at_most=160)
    if "text" in fields:
        found["text"] = check_text(fields["text"], argument="text", at_most=8000, empty=True)
    if "settings" in fields:
        found["settings"] = check_settings(fields["settings"])
    if "kind" in fields:
        if fields["kind"] not in Regime.Kind.values:
            allowed = ", ".join(Regime.Kind.values)
            raise ShapeError(
                "regime.kind", KIND_UNKNOWN.format(kind=fields["kind"], allowed=allowed)
            )
        found["kind"] = str(fields["kind"])
    return found


def _subject(code: str) -> str:
    return f"regime {code}"


def regime_add(
    *,
    actor: Person,
    code: str,
    title: str,
    kind: str,
    now: datetime,
    text: str = "",
    settings: Mapping[str, Any] | None = None,
) -> Regime:
    """A new exposure protocol.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what does not fit.
        RuleBroken: ``regime.code-taken``.
    """
    require(actor.role, Action.RUN_MACHINES)
    check_text(code, argument="The regime's code", at_most=40)
    check_code(code, argument="The regime's code", at_most=40)
    fields = _checked({"title": title, "text": text, "kind": kind, "settings": settings or {}})
    with ledger_transaction():
        if Regime.objects.filter(code=code).exists():
            raise RuleBroken("regime.code-taken", CODE_TAKEN.format(code=code), label=code)
        regime = Regime.objects.create(code=code, **fields)
        plan_change_append(
            actor=str(actor.id),
            subject=_subject(code),
            before=None,
            after=fields,
            why="added",
            now=now,
        )
    return regime


def regime_change(
    *, actor: Person, regime: Regime, changes: Mapping[str, Any], why: str, now: datetime
) -> Regime:
    """Change a protocol's title, text, kind or settings; what was done under it stays done.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what does not fit; ``regime.why`` without a reason.
    """
    require(actor.role, Action.RUN_MACHINES)
    unknown = sorted(set(changes) - set(CHANGEABLE))
    if unknown:
        raise ShapeError(
            "regime.not-changeable",
            NOT_CHANGEABLE.format(names=", ".join(unknown), allowed=", ".join(CHANGEABLE)),
        )
    if not why.strip():
        raise ShapeError("regime.why", WHY_NEEDED)
    reason = check_text(why, argument="why", at_most=2000)
    fields = _checked(changes)
    with ledger_transaction():
        fresh = Regime.objects.get(pk=regime.pk)
        before = {name: getattr(fresh, name) for name in fields}
        changed = {name: value for name, value in fields.items() if before[name] != value}
        if not changed:
            return fresh
        for name, value in changed.items():
            setattr(fresh, name, value)
        fresh.save(update_fields=list(changed))
        plan_change_append(
            actor=str(actor.id),
            subject=_subject(regime.code),
            before={name: before[name] for name in changed},
            after=changed,
            why=reason,
            now=now,
        )
    return fresh
