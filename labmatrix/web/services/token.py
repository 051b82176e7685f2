"""Issue and check API tokens."""

from __future__ import annotations

import secrets
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction

from labmatrix.kernel.canonical import sha256_text
from labmatrix.web.models import ApiToken, Person


@transaction.atomic
def token_issue(*, person: Person, now: datetime) -> tuple[str, datetime]:
    """A new token for a person: (token, expires_at). Expired ones of the person go."""
    ApiToken.objects.filter(person=person, expires_at__lte=now).delete()
    token = secrets.token_urlsafe(32)
    expires_at = now + timedelta(days=settings.API_TOKEN_DAYS)
    ApiToken.objects.create(
        digest=sha256_text(token), person=person, created_at=now, expires_at=expires_at
    )
    return token, expires_at


def token_person(*, token: str, now: datetime) -> Person | None:
    """Whose token this is; None when unknown, expired, or its person has left."""
    found = (
        ApiToken.objects.select_related("person")
        .filter(digest=sha256_text(token), expires_at__gt=now, person__is_active=True)
        .first()
    )
    return found.person if found else None
