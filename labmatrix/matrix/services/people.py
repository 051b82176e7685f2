"""See people out, and later erase their names."""

from __future__ import annotations

from datetime import datetime

from labmatrix.evidence.services.ledger import ledger_transaction
from labmatrix.kernel.errors import RuleBroken
from labmatrix.matrix.models import Invitation, Membership
from labmatrix.matrix.services.invitation import invitations_withdraw_of
from labmatrix.web.domain.roles import Action, Role, require
from labmatrix.web.facts import person_fact
from labmatrix.web.models import Person
from labmatrix.web.services.access import attempts_forget, sessions_end, tokens_end

LAST_LEAD = "{name} is the only lead of {place}; name another lead first."
STILL_HERE = "{name} can still sign in; end the access first, then erase the name."


def person_leave(*, actor: Person | None, person: Person, now: datetime) -> None:
    """End a person's access at once: password, sessions, tokens, doors they held open.

    What they did stays as it is. Nothing happens to someone who has left already.

    Args:
        actor: who sees them out; None for whoever runs the installation.
        person: who leaves.
        now: when.

    Raises:
        NotFound: the actor may not see people out.
        RuleBroken: ``person.last-lead`` for the only lead of the laboratory or of a programme.
    """
    _require(actor)
    with ledger_transaction():
        person.refresh_from_db()
        if not person.is_active:
            return
        _keep_leads(person)
        person.is_active, person.left_at = False, now
        person.set_unusable_password()
        person.save(update_fields=["is_active", "left_at", "password"])
        sessions_end(person)
        tokens_end(person)
        invitations_withdraw_of(person, now)
        _fact(actor, person, "left", now)


def person_erase(*, actor: Person | None, person: Person, now: datetime) -> str:
    """Put a pseudonym in the place of the name of someone who has left; it cannot be undone.

    The ledger knows people by opaque ids only, so not a byte of it changes. The number in the
    pseudonym is given once and stays.

    Returns:
        The pseudonym, such as ``former technician 3``.

    Raises:
        NotFound: the actor may not see people out.
        RuleBroken: ``person.still-here``.
    """
    _require(actor)
    with ledger_transaction():
        person.refresh_from_db()
        if person.is_active:
            raise RuleBroken("person.still-here", STILL_HERE.format(name=person.shown_name))
        if person.erased_at is not None:
            return person.shown_name
        attempts_forget(person.username)
        if person.email:
            Invitation.objects.filter(email__iexact=person.email).update(email="")
        person.display_name, person.username = _pseudonym(person.role)
        person.display_role = person.email = ""
        person.erased_at = now
        person.save(
            update_fields=["display_name", "username", "display_role", "email", "erased_at"]
        )
        _fact(actor, person, "name erased", now)
    return person.shown_name


def _require(actor: Person | None) -> None:
    if actor is not None:
        require(actor.role if actor.is_active else None, Action.LET_PEOPLE_IN)


def _fact(actor: Person | None, person: Person, what: str, now: datetime) -> None:
    by = str(actor.pk) if actor else str(person.pk)
    more = None if actor else {"by": "command of the installation"}
    person_fact(actor=by, person=str(person.pk), what=what, now=now, more=more)


def _keep_leads(person: Person) -> None:
    leads = Person.objects.filter(is_active=True, laboratory_role=str(Role.LEAD))
    if person.role is Role.LEAD and not leads.exclude(pk=person.pk).exists():
        _refuse_last(person, "the laboratory")
    led = Membership.objects.filter(person=person, role=str(Role.LEAD))
    for mine in led.select_related("programme"):
        others = Membership.objects.filter(
            programme=mine.programme, role=str(Role.LEAD), person__is_active=True
        )
        if not others.exclude(person=person).exists():
            _refuse_last(person, mine.programme.code)


def _refuse_last(person: Person, place: str) -> None:
    raise RuleBroken("person.last-lead", LAST_LEAD.format(name=person.shown_name, place=place))


def _pseudonym(role: Role) -> tuple[str, str]:
    """The next free pseudonym for a role: (on pages, in place of the sign-in name)."""
    number = 1 + Person.objects.filter(erased_at__isnull=False, laboratory_role=str(role)).count()
    while Person.objects.filter(username__iexact=f"former-{role}-{number}").exists():
        number += 1
    return f"former {role} {number}", f"former-{role}-{number}"
