"""A wrong deployment is said at the start, with a hint."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.db import DatabaseError

from labmatrix.web.models import Person


def is_loopback(bind: str) -> bool:
    """Whether an address to listen on is this machine's own."""
    if bind == "localhost":
        return True
    try:
        return ipaddress.ip_address(bind.strip("[]")).is_loopback
    except ValueError:
        return False


@register(Tags.security)
def secret_key_is_own(**kwargs: Any) -> Sequence[CheckMessage]:
    """The demo's key is known to everyone."""
    if is_loopback(settings.BIND) or settings.SECRET_KEY != settings.DEMO_SECRET_KEY:
        return []
    return [
        Error(
            f"The server would listen on {settings.BIND} with the demo's secret key.",
            hint="Set STRONGFLOOR_SECRET_KEY to 50 random characters of your own.",
            id="strongfloor.E001",
        )
    ]


@register(Tags.database)
def demo_people_stay_at_home(**kwargs: Any) -> Sequence[CheckMessage]:
    """The demo's passwords are known to everyone."""
    if is_loopback(settings.BIND):
        return []
    try:
        demo = Person.objects.filter(is_demo=True, is_active=True).exists()
    except DatabaseError:
        return []  # before the first migration there are no people
    if not demo:
        return []
    return [
        Error(
            f"The server would listen on {settings.BIND} with the demo's people.",
            hint="Use a STRONGFLOOR_HOME and database of your own: manage.py setup.",
            id="strongfloor.E002",
        )
    ]
