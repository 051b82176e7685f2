"""Add machines to the laboratory and change what is said of them."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from conditioning.domain.shapes import check_number, check_performance, check_text
from conditioning.models import Machine
from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.ledger import ledger_transaction, plan_change_append
from labmatrix.kernel.errors import RuleBroken, ShapeError
from labmatrix.matrix.domain.code import SPECIMEN_CODE_MAX, check_code
from labmatrix.web.domain.roles import Action, require
from labmatrix.web.models import Person

CODE_TAKEN = "The code {code} is on another label already; choose another."
WHY_NEEDED = "Say why what is known of it changes."
CHANGEABLE = ("name", "kind", "positions", "note", "dynamic_performance")
NOT_CHANGEABLE = "{names} cannot be changed; allowed are {allowed}."
KIND_UNKNOWN = "kind is {kind!r}; allowed is {allowed}."
POSITIONS_MAX = 2000


def _checked(fields: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in fields.items():
        if name == "name":
            found[name] = check_text(value, argument=name, at_most=120)
        elif name == "note":
            found[name] = check_text(value, argument=name, at_most=4000, empty=True)
        elif name == "positions":
            found[name] = int(check_number(value, argument=name, least=0, most=POSITIONS_MAX))
        elif name == "kind":
            found[name] = _kind(value)
        elif name == "dynamic_performance":
            found[name] = check_performance(value)
    return found


def _kind(value: object) -> str:
    if value not in Machine.Kind.values:
        raise ShapeError(
            "machine.kind",
            KIND_UNKNOWN.format(kind=value, allowed=", ".join(Machine.Kind.values)),
        )
    return str(value)


def machine_facts(machine: Machine) -> dict[str, Any]:
    """What the ledger holds of a machine."""
    return {name: getattr(machine, name) for name in CHANGEABLE}


def machine_add(
    *,
    actor: Person,
    code: str,
    name: str,
    kind: str,
    now: datetime,
    positions: int = 0,
    note: str = "",
    dynamic_performance: object = None,
) -> Machine:
    """A new machine, whose code is frozen.

    Args:
        actor: who adds it.
        code: the code on its label, A-Z, 0-9 and hyphens.
        name: what people call it.
        kind: chamber, rig, frame, logger or other.
        now: the instant of the entry.
        positions: places for specimens; 0 where they are not counted.
        note: anything else.
        dynamic_performance: list of {amplitude_mm, frequency_hz, load_kn?} as measured.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what does not fit.
        RuleBroken: ``machine.code-taken``.
    """
    require(actor.role, Action.RUN_MACHINES)
    check_text(code, argument="The machine's code", at_most=SPECIMEN_CODE_MAX)
    check_code(code, argument="The machine's code", at_most=SPECIMEN_CODE_MAX)
    fields = _checked(
        {
            "name": name,
            "kind": kind,
            "positions": positions,
            "note": note,
            "dynamic_performance": dynamic_performance,
        }
    )
    with ledger_transaction():
        if Subject.objects.filter(code=code).exists():
            raise RuleBroken("machine.code-taken", CODE_TAKEN.format(code=code), label=code)
        subject = Subject.objects.create(code=code, kind=Subject.Kind.MACHINE)
        machine = Machine.objects.create(subject=subject, code=code, **fields)
        plan_change_append(
            actor=str(actor.id),
            subject=code,
            before=None,
            after={"machine": code, **machine_facts(machine)},
            why="added",
            now=now,
        )
    return machine


def machine_change(
    *, actor: Person, machine: Machine, changes: Mapping[str, Any], why: str, now: datetime
) -> Machine:
    """Change a machine's name, kind, positions, note or dynamic performance.

    Raises:
        NotFound: not the person's to do.
        ShapeError: what does not fit; ``machine.why`` without a reason.
    """
    require(actor.role, Action.RUN_MACHINES)
    unknown = sorted(set(changes) - set(CHANGEABLE))
    if unknown:
        raise ShapeError(
            "machine.not-changeable",
            NOT_CHANGEABLE.format(names=", ".join(unknown), allowed=", ".join(CHANGEABLE)),
        )
    if not why.strip():
        raise ShapeError("machine.why", WHY_NEEDED)
    reason = check_text(why, argument="why", at_most=2000)
    fields = _checked(changes)
    with ledger_transaction():
        fresh = Machine.objects.get(pk=machine.pk)
        before = machine_facts(fresh)
        changed = {name: value for name, value in fields.items() if before[name] != value}
        if not changed:
            return fresh
        for name, value in changed.items():
            setattr(fresh, name, value)
        fresh.save(update_fields=list(changed))
        plan_change_append(
            actor=str(actor.id),
            subject=machine.code,
            before={name: before[name] for name in changed},
            after=changed,
            why=reason,
            now=now,
        )
    return fresh
