"""Ids of events that a page logs."""

from __future__ import annotations

import secrets
import uuid
from datetime import datetime


def event_id_new(now: datetime) -> str:
    """A UUID of version 7 (RFC 9562): milliseconds since 1970, then 74 random bits."""
    milliseconds = int(now.timestamp() * 1000) & ((1 << 48) - 1)
    random = secrets.randbits(74)
    high = (milliseconds << 16) | (0x7 << 12) | (random >> 62)
    low = (0b10 << 62) | (random & ((1 << 62) - 1))
    return str(uuid.UUID(int=(high << 64) | low))
