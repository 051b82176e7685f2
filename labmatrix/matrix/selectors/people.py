"""Read who is here, who was, and who is invited."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.db.models import Prefetch, QuerySet

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Invitation, Membership
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person


@dataclass(frozen=True)
class PersonFact:
    """One line of a person's account in the ledger."""

    seq: int
    at: datetime
    what: str
    by: str


def person_list(actor: Person) -> QuerySet[Person]:
    """Everyone with their parts, those who have left last; two queries.

    Raises:
        NotFound: the actor may not let people in.
    """
    require(actor.role if actor.is_active else None, Action.LET_PEOPLE_IN)
    parts = Membership.objects.select_related("programme").order_by("programme__code")
    return Person.objects.prefetch_related(Prefetch("memberships", queryset=parts)).order_by(
        "-is_active", "username"
    )


def person_get(actor: Person, person_id: UUID) -> Person:
    """One of them.

    Raises:
        NotFound: there is none, or the actor may not let people in.
    """
    found = person_list(actor).filter(pk=person_id).first()
    if found is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return found


def invitation_list_open(now: datetime) -> QuerySet[Invitation]:
    """Invitations that wait, the newest first."""
    return Invitation.objects.filter(
        taken_at=None, withdrawn_at=None, expires_at__gt=now
    ).select_related("programme", "inviter", "person")


def person_fact_list(person: Person) -> Sequence[PersonFact]:
    """What the ledger says of a person's access, in order."""
    entries = list(
        LedgerEntry.objects.filter(subject=f"person/{person.pk}", kind="person").order_by("seq")
    )
    names = {
        str(known.pk): known.shown_name
        for known in Person.objects.filter(pk__in={entry.actor for entry in entries})
    }
    facts = []
    for entry in entries:
        body = json.loads(entry.content)["body"]
        by = body.get("by") or names.get(entry.actor, "someone unknown")
        facts.append(PersonFact(entry.seq, entry.recorded_at, body["what"], by))
    return facts
