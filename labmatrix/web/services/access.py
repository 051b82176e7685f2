"""End at once what lets a person in."""

from __future__ import annotations

from axes.models import AccessAttempt, AccessFailureLog, AccessLog
from axes.utils import reset
from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.models import Session

from labmatrix.web.models import ApiToken, Person


def sessions_end(person: Person) -> int:
    """End every session of a person, on whatever device; how many there were."""
    ended = 0
    for session in Session.objects.iterator(chunk_size=500):
        if session.get_decoded().get(SESSION_KEY) == str(person.pk):
            session.delete()
            ended += 1
    return ended


def tokens_end(person: Person) -> int:
    """End every API token of a person; how many there were."""
    return ApiToken.objects.filter(person=person).delete()[0]


def lock_lift(person: Person) -> None:
    """Forget wrong passwords that were typed for a person's name."""
    reset(username=person.username)


def attempts_end(person: Person, place: str) -> None:
    """Start the count of wrong passwords again for a name at a place, after a right one."""
    reset(username=person.username, ip=place)


def attempts_forget(username: str) -> None:
    """Remove a sign-in name from what is kept of sign-ins and failures."""
    for model in (AccessAttempt, AccessFailureLog, AccessLog):
        model.objects.filter(username=username).delete()
