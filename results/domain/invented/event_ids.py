"""Ids of events that are the same in every run and sort by time."""

from __future__ import annotations

import hashlib
import uuid
from datetime import UTC, datetime, timedelta

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


def uuid7_from(at: datetime, *names: str) -> uuid.UUID:
    """A UUID shaped as version 7 (RFC 9562): milliseconds of ``at``, then a hash of the names.

    Args:
        at: aware instant after 1970.
        names: what tells it from others of the same millisecond.
    """
    milliseconds = (at - _EPOCH) // _MILLISECOND
    digest = hashlib.sha256("\n".join(names).encode()).digest()
    rest = int.from_bytes(digest[:10], "big")
    head = (rest >> 68) & 0xFFF
    tail = rest & ((1 << 62) - 1)
    return uuid.UUID(int=(milliseconds << 80) | (7 << 76) | (head << 64) | (2 << 62) | tail)
