"""Let people in by a link that works once."""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import Q
from django.urls import reverse

from labmatrix.evidence.services.ledger import ledger_transaction
from labmatrix.kernel.canonical import sha256_text
from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError
from labmatrix.matrix.models import Invitation, Programme
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.matrix.services.programme import membership_set
from labmatrix.web.domain.letters import BACK, INVITED, Letter, letter
from labmatrix.web.domain.roles import NOT_YOURS, Action, Role, require
from labmatrix.web.facts import person_fact
from labmatrix.web.mail import public_link
from labmatrix.web.models import Person
from labmatrix.web.selectors.laboratory import laboratory_get
from labmatrix.web.services.laboratory import person_add
from labmatrix.web.services.password import password_check

NO_ADDRESS = "The e-mail address is {email!r}; allowed is one like name@floor.example."
HERE_ALREADY = (
    "{name} has this address and can sign in already; give them a part on the programme's page."
)
LINK_GONE = (
    "This link is not, or no longer, good: it was used, withdrawn, has run out, or was cut short "
    "on its way. Ask whoever invited you for another."
)
INVITER_GONE = (
    "{name}, who invited you, may no longer let people into {programme}. Ask a lead of the "
    "laboratory for another invitation."
)
STILL_HERE = "{name} can sign in; only someone who has left is let in again."
ERASED = "The name of {name} was erased; whoever comes back is invited as a new person."


@dataclass(frozen=True)
class Issued:
    """An invitation with its link, which is known at this moment only, and the letter."""

    invitation: Invitation
    link: str
    letter: Letter


def invitation_create(
    *,
    actor: Person,
    email: str,
    role: Role,
    programme: Programme | None = None,
    now: datetime,
) -> Issued:
    """Invite someone to the laboratory, and with a programme to that too, in the same role.

    Earlier open invitations to the address are withdrawn: the newest link is the one that counts.

    Raises:
        NotFound: the actor may not let people in, or does not lead the programme.
        ShapeError: ``invitation.email``.
        RuleBroken: ``invitation.here`` when someone with this address can sign in already.
    """
    require(actor.role if actor.is_active else None, Action.LET_PEOPLE_IN)
    address = _checked_address(email)
    with ledger_transaction():
        if programme is not None:
            require(programme_role(actor, programme), Action.PLAN_MATRIX)
        here = Person.objects.filter(email__iexact=address, is_active=True).first()
        if here is not None:
            raise RuleBroken("invitation.here", HERE_ALREADY.format(name=here.shown_name))
        _withdraw(Invitation.objects.filter(email__iexact=address), now)
        return _issue(actor, email=address, role=role, programme=programme, person=None, now=now)


def invitation_back(*, actor: Person, person: Person, email: str, now: datetime) -> Issued:
    """Let someone in again who has left, under the same name and with the parts they had.

    Raises:
        NotFound: the actor may not let people in.
        ShapeError: ``invitation.email``.
        RuleBroken: ``person.here`` or ``person.erased``.
    """
    require(actor.role if actor.is_active else None, Action.LET_PEOPLE_IN)
    address = _checked_address(email)
    with ledger_transaction():
        person.refresh_from_db()
        if person.is_active:
            raise RuleBroken("person.here", STILL_HERE.format(name=person.shown_name))
        if person.erased_at is not None:
            raise RuleBroken("person.erased", ERASED.format(name=person.shown_name))
        _withdraw(Invitation.objects.filter(Q(person=person) | Q(email__iexact=address)), now)
        return _issue(
            actor, email=address, role=person.role, programme=None, person=person, now=now
        )


def _checked_address(email: str) -> str:
    address = email.strip()
    try:
        validate_email(address)
    except ValidationError as error:
        raise ShapeError("invitation.email", NO_ADDRESS.format(email=address[:80])) from error
    return address


def _issue(
    actor: Person,
    *,
    email: str,
    role: Role,
    programme: Programme | None,
    person: Person | None,
    now: datetime,
) -> Issued:
    token = secrets.token_urlsafe(32)
    made = Invitation.objects.create(
        digest=sha256_text(token),
        email=email,
        role=str(role),
        programme=programme,
        inviter=actor,
        person=person,
        created_at=now,
        expires_at=now + timedelta(days=settings.INVITATION_DAYS),
    )
    more = {"invitation": str(made.pk), "role": str(role)}
    if programme is not None:
        more["programme"] = programme.code
    invited = str(person.pk) if person else f"invited-{made.pk}"
    person_fact(actor=str(actor.pk), person=invited, what="invited", now=now, more=more)
    link = public_link(reverse("matrix:join", args=[token]))
    return Issued(made, link, _letter(made, link))


def _letter(made: Invitation, link: str) -> Letter:
    title = f", and to the programme {made.programme.title}" if made.programme else ""
    return letter(
        "{inviter} invites you to {laboratory}",
        BACK if made.person else INVITED,
        inviter=made.inviter.shown_name,
        laboratory=laboratory_get().name,
        role=made.role,
        programme=title,
        days=settings.INVITATION_DAYS,
        name=made.person.username if made.person else "",
        link=link,
    )


def _withdraw(found: object, now: datetime) -> int:
    """Withdraw what is open of a selection; the address goes with it."""
    return found.filter(taken_at=None, withdrawn_at=None).update(  # type: ignore[attr-defined,no-any-return]
        withdrawn_at=now, email=""
    )


def invitation_withdraw(*, actor: Person, invitation_id: UUID, now: datetime) -> None:
    """Close a door that was held open; nothing happens when it is shut already.

    Raises:
        NotFound: the actor may not let people in, or there is no such invitation.
    """
    require(actor.role if actor.is_active else None, Action.LET_PEOPLE_IN)
    with ledger_transaction():
        found = Invitation.objects.filter(pk=invitation_id)
        if not found.exists():
            raise NotFound("access.not-yours", NOT_YOURS)
        if _withdraw(found, now):
            person_fact(
                actor=str(actor.pk),
                person=f"invited-{invitation_id}",
                what="invitation withdrawn",
                now=now,
            )


def invitations_withdraw_of(person: Person, now: datetime) -> None:
    """Close every door that a person held open, or that was held open for them."""
    _withdraw(Invitation.objects.filter(Q(inviter=person) | Q(person=person)), now)


def invitation_open(*, token: str, now: datetime) -> Invitation:
    """What a link invites to.

    Raises:
        NotFound: ``invitation.link``; why it is not good is not told.
    """
    found = (
        Invitation.objects.select_related("programme", "inviter", "person")
        .filter(digest=sha256_text(token))
        .first()
    )
    if found is None or not found.is_open(now):
        raise NotFound("invitation.link", LINK_GONE)
    return found


def invitation_take(
    *,
    token: str,
    password: str,
    username: str = "",
    display_name: str = "",
    display_role: str = "",
    now: datetime,
) -> Person:
    """Come in by a link, which then is used up.

    Args:
        token: out of the link.
        password: checked.
        username: the sign-in name; not asked of someone who comes back.
        display_name: what pages show; empty for the sign-in name.
        display_role: what pages say the person does; may be empty.
        now: when.

    Raises:
        NotFound: ``invitation.link``.
        RuleBroken: ``person.name-taken``, or ``invitation.inviter`` when the inviter no longer may.
        ShapeError: ``person.name-shape``, ``person.password``, or a text that cannot be.
    """
    with ledger_transaction():
        found = invitation_open(token=token, now=now)
        _check_inviter(found)
        if found.person is not None:
            person = _come_back(found.person, found.email, password, now)
        else:
            person = person_add(
                username=username,
                password=password,
                role=Role(found.role),
                display_name=display_name,
                display_role=display_role,
                email=found.email,
                now=now,
            )
        if found.programme is not None:
            membership_set(
                actor=found.inviter,
                programme=found.programme,
                person=person,
                role=Role(found.role),
                now=now,
            )
        Invitation.objects.filter(pk=found.pk).update(taken_at=now, person=person, email="")
    return person


def _check_inviter(found: Invitation) -> None:
    try:
        require(found.inviter.role if found.inviter.is_active else None, Action.LET_PEOPLE_IN)
        if found.programme is not None:
            require(programme_role(found.inviter, found.programme), Action.PLAN_MATRIX)
    except NotFound as error:
        where = found.programme.code if found.programme else "the laboratory"
        raise RuleBroken(
            "invitation.inviter",
            INVITER_GONE.format(name=found.inviter.shown_name, programme=where),
        ) from error


def _come_back(person: Person, email: str, password: str, now: datetime) -> Person:
    password_check(password, person)
    person.set_password(password)
    person.is_active, person.left_at, person.email = True, None, email
    person.save(update_fields=["password", "is_active", "left_at", "email"])
    person_fact(actor=str(person.pk), person=str(person.pk), what="came back", now=now)
    return person
