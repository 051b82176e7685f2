"""Events of one subject, written one after the other in the form that the event door takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from labmatrix.kernel.clock import iso
from results.domain.invented.event_ids import uuid7_from

LEAD, MANAGER, TECHNICIAN = "lead", "manager", "technician"
TABLET, SECOND_TABLET = "TABLET-1", "TABLET-2"


@dataclass(frozen=True)
class EventDraft:
    """One event before the devices' running numbers are known.

    Attributes:
        role: who logs it.
        at: when it happened.
        body: {id, subject, kind, occurred_at, payload, device?, corrects?}.
    """

    role: str
    at: datetime
    body: Mapping[str, Any]


@dataclass
class Diary:
    """Collects the events of one specimen or machine.

    Attributes:
        subject: its code.
        seed: of the story; with subject and order it makes the ids.
    """

    subject: str
    seed: int
    drafts: list[EventDraft] = field(default_factory=list)

    def log(
        self,
        at: datetime,
        kind: str,
        payload: Mapping[str, Any] | None = None,
        *,
        role: str = TECHNICIAN,
        device: str | None = None,
        corrects: str | None = None,
    ) -> str:
        """Write one event down; technicians write on the tablet unless told otherwise.

        Returns:
            The event's id.
        """
        if device is None:
            device = TABLET if role == TECHNICIAN else ""
        key = str(uuid7_from(at, str(self.seed), self.subject, kind, str(len(self.drafts))))
        body: dict[str, Any] = {
            "id": key,
            "subject": self.subject,
            "kind": kind,
            "occurred_at": iso(at),
            "payload": dict(payload or {}),
        }
        if device:
            body["device"] = device
        if corrects is not None:
            body["corrects"] = corrects
        self.drafts.append(EventDraft(role, at, body))
        return key


def kn(value: float) -> dict[str, Any]:
    """A force as events have it."""
    return {"value": value, "unit": "kN"}


def mm(value: float) -> dict[str, Any]:
    """A length as events have it."""
    return {"value": value, "unit": "mm"}
