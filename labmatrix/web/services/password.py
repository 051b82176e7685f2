"""Change a password, and get a new one by a letter."""

from __future__ import annotations

import hashlib
import hmac
from datetime import datetime, timedelta
from uuid import UUID

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.contrib.auth.tokens import default_token_generator
from django.core.exceptions import ValidationError
from django.db import transaction
from django.urls import reverse

from labmatrix.kernel.errors import NotFound, RuleBroken, ShapeError, TooOften
from labmatrix.web.domain.letters import CHANGED, RESET, Letter, letter
from labmatrix.web.facts import fact_transaction, person_fact
from labmatrix.web.mail import public_link
from labmatrix.web.models import PasswordAsked, Person
from labmatrix.web.selectors.laboratory import laboratory_get
from labmatrix.web.services.access import lock_lift, sessions_end, tokens_end

WRONG = "The present password is another one; nothing was changed."
LINK_GONE = (
    "This link is not, or no longer, good: it was used, has run out, or was cut short on its way. "
    "Ask for another letter."
)
ASKED_TOO_OFTEN = (
    "New passwords were asked for too often from this place; allowed are {allowed} an hour."
)


def password_check(password: str, person: Person) -> None:
    """Refuse what is too short, too common or too like the person.

    Raises:
        ShapeError: ``person.password`` with the reasons.
    """
    try:
        validate_password(password, person)
    except ValidationError as error:
        raise ShapeError("person.password", " ".join(error.messages)) from error


def _password_set(person: Person, password: str, *, how: str, now: datetime) -> None:
    password_check(password, person)
    with fact_transaction():
        person.set_password(password)
        person.save(update_fields=["password"])
        sessions_end(person)
        tokens_end(person)
        person_fact(actor=str(person.pk), person=str(person.pk), what=how, now=now)


def password_change(*, actor: Person, present: str, password: str, now: datetime) -> Letter:
    """Change one's own password; every session and token of the person ends.

    Returns:
        The letter that tells the person.

    Raises:
        RuleBroken: ``person.password-wrong``.
        ShapeError: ``person.password``.
    """
    if not actor.check_password(present):
        raise RuleBroken("person.password-wrong", WRONG)
    _password_set(actor, password, how="password changed", now=now)
    return _changed(actor)


def _changed(person: Person) -> Letter:
    return letter(
        "The password of {name} was changed",
        CHANGED,
        name=person.username,
        laboratory=laboratory_get().name,
    )


def reset_ask(*, address: str, place: str, now: datetime) -> list[tuple[str, Letter]]:
    """Letters to those active people whose address this is; the caller answers the same always.

    Args:
        address: what was typed. Letters go to the address that the person gave, never to this.
        place: network address of who asks.
        now: when.

    Raises:
        TooOften: ``person.reset-too-often``, by place only, whoever's address it is.
    """
    with transaction.atomic():
        PasswordAsked.objects.filter(asked_at__lte=now - timedelta(hours=1)).delete()
        if _asked("place", place, now) > settings.PASSWORD_RESETS_FROM_A_PLACE:
            allowed = settings.PASSWORD_RESETS_FROM_A_PLACE
            raise TooOften(
                "person.reset-too-often", ASKED_TOO_OFTEN.format(allowed=allowed), allowed=allowed
            )
        often = _asked("address", address.strip().casefold(), now)
    if often > settings.PASSWORD_RESETS_AN_HOUR:
        return []
    found = Person.objects.filter(email__iexact=address.strip(), is_active=True).exclude(email="")
    return [(person.email, _reset_letter(person)) for person in found]


def _asked(kind: str, value: str, now: datetime) -> int:
    """Note one more asking; how many there were within the hour, with this one."""
    key = hmac.new(
        str(settings.SECRET_KEY).encode(),
        f"{kind} {value}".encode(errors="replace"),
        hashlib.sha256,
    ).hexdigest()
    PasswordAsked.objects.create(key=key, asked_at=now)
    return PasswordAsked.objects.filter(key=key).count()


def _reset_letter(person: Person) -> Letter:
    token = default_token_generator.make_token(person)
    return letter(
        "A new password for {name}",
        RESET,
        name=person.username,
        laboratory=laboratory_get().name,
        hours=settings.PASSWORD_RESET_TIMEOUT // 3600,
        link=public_link(reverse("web:password-new", args=[person.pk, token])),
    )


def reset_person(*, person_id: UUID, token: str) -> Person:
    """Whose letter a link came from.

    Raises:
        NotFound: ``person.reset-link``; who it would have been for is not told.
    """
    person = Person.objects.filter(pk=person_id, is_active=True).first()
    if person is None or not default_token_generator.check_token(person, token):
        raise NotFound("person.reset-link", LINK_GONE)
    return person


def reset_complete(*, person_id: UUID, token: str, password: str, now: datetime) -> Person:
    """Set a password by a letter's link, which then is used up; a lock on the name is lifted.

    Raises:
        NotFound: ``person.reset-link``.
        ShapeError: ``person.password``.
    """
    with fact_transaction():
        person = reset_person(person_id=person_id, token=token)
        _password_set(person, password, how="password set by letter", now=now)
        lock_lift(person)
    return person
