"""Which small drawing stands behind the word of a state."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

PLAIN = "plain"
DRAWN = frozenset(
    {
        "planned",
        "cast",
        "curing",
        "waiting",
        "held",
        "prepared",
        "strengthened",
        "exposed",
        "sustained",
        "cycling",
        "broken",
        "failed-in-cycling",
        "failed-in-the-frame",
        "run-out",
        "lost",
        "repaired",
        "received",
        "running",
        "done",
        "refused",
        "question",
        "accepted",
        "excluded",
        "repeat",
        "released",
        "plain",
    }
)
# Words of the trade, of records, jobs, deviations and releases that share a drawing.
_SHARED: Mapping[str, str] = MappingProxyType(
    {
        "demoulded": "cast",
        "cored": "cast",
        "salvaged": "cast",
        "pre-cracked": "broken",
        "cured": "curing",
        "run-out-then-broken": "run-out",
        "layer": "strengthened",
        "anchored": "strengthened",
        "entered": "exposed",
        "in-exposure": "exposed",
        "loaded": "sustained",
        "reading": "running",
        "reducing": "running",
        "sent": "received",
        "stored": "done",
        "reduced": "done",
        "duplicate": "done",
        "failed": "refused",
        "rejected": "refused",
        "cancelled": "refused",
        "conflict": "question",
        "in-conflict": "question",
        "open": "question",
        "superseded": "repeat",
        "exclude": "excluded",
        "accept": "accepted",
        "draft": "planned",
        "queued": "waiting",
    }
)


def mark_of(word: str) -> str:
    """The drawing's name for a state in words; the plain mark for a word without one."""
    slug = re.sub(r"[^a-z]+", "-", word.lower()).strip("-")
    name = _SHARED.get(slug, slug)
    return name if name in DRAWN else PLAIN
