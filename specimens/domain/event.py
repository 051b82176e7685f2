"""One dated fact, as the fold sees it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

# Where events of past years come from; no device may call itself so.
IMPORTED = "imported from a workbook"


@dataclass(frozen=True)
class EventFact:
    """One event. Nothing in it depends on when or in which order the server received it.

    Attributes:
        id: UUID as text.
        kind: a key of the catalogue.
        occurred_at: when it happened, as the person or the device said; aware, UTC.
        payload: as in the catalogue.
        device_at: the device's clock when it was logged; equal to ``occurred_at`` unless the
            person dated the event back.
        device: which device; empty for a page or a script.
        sequence: the device's own running number.
        skew_seconds: server's clock minus device's clock, measured when it was sent.
        corrects: id of the event that this one replaces.
        actor: opaque id of the person.
    """

    id: str
    kind: str
    occurred_at: datetime
    payload: Mapping[str, Any] = field(default_factory=dict)
    device_at: datetime | None = None
    device: str = ""
    sequence: int | None = None
    skew_seconds: float = 0.0
    corrects: str | None = None
    actor: str = ""

    @property
    def is_back_dated(self) -> bool:
        """The person gave another time than the device's clock."""
        return self.device_at is not None and self.device_at != self.occurred_at

    @property
    def names(self) -> str | None:
        """The event that this one strikes or replaces, if any."""
        if self.kind == "corrected":
            return str(self.payload["event"])
        return self.corrects
