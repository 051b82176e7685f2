"""Is every part well? Each room names the parts that it answers for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from django.db import DatabaseError, connection


@dataclass(frozen=True)
class PartHealth:
    """A part's name, whether it is well, and a few words."""

    name: str
    is_well: bool
    words: str


Check = Callable[[datetime], list[PartHealth]]
_checks: list[Check] = []


def health_register(check: Check) -> None:
    """Add what a room answers for; called from an app's ``ready``."""
    if check not in _checks:
        _checks.append(check)


def health_now(now: datetime) -> list[PartHealth]:
    """Every part; without its database nothing else is asked."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
    except DatabaseError:
        return [PartHealth("database", False, "no database")]
    found = [PartHealth("database", True, "answers")]
    for check in _checks:
        found += check(now)
    return found
