"""Events as a page tells them: in words, with who, when, how, and what became of each."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property

from specimens.domain.kinds import kind_words
from specimens.domain.wording import Said, payload_said
from specimens.models import Event
from specimens.selectors.event import STRUCK, Standing, people_names, reason_id
from specimens.selectors.sheet import SpecimenSheet

UNNAMED = "someone who has left"
BY_PAGE = "by page or script"
LATE_AFTER = timedelta(days=1)
# What a page shows by other means, and what reads well without its name.
_HIDDEN = frozenset({"event", "deviation", "blob"})
_SPEAKS_FOR_ITSELF = frozenset({"text", "caption", "words"})


@dataclass(frozen=True)
class EventSeen:
    """One event on a page.

    Attributes:
        event: the row.
        who: name of the person.
        standing: what became of it.
        struck_by: the event that struck or replaced it, if any.
        why: the reason that was given for that.
    """

    event: Event
    who: str
    standing: Standing
    struck_by: Event | None = None
    why: str = ""

    @cached_property
    def words(self) -> str:
        """The kind in words."""
        return kind_words(self.event.kind)

    @cached_property
    def said(self) -> tuple[Said, ...]:
        """The payload's entries."""
        told = (s for s in payload_said(self.event.payload) if s.name not in _HIDDEN)
        return tuple(replace(s, name="") if s.name in _SPEAKS_FOR_ITSELF else s for s in told)

    @property
    def how(self) -> str:
        """Where it was logged."""
        event = self.event
        if not event.device:
            return BY_PAGE
        number = "" if event.sequence is None else f" no. {event.sequence}"
        return f"{event.device}{number}"

    @property
    def late_at(self) -> datetime | None:
        """When it came in, where that was more than a day after it happened."""
        late = self.event.received_at - self.event.occurred_at > LATE_AFTER
        return self.event.received_at if late else None

    @property
    def skew_minutes(self) -> float | None:
        """By how much the device's clock was slow, where that was beyond the tolerance."""
        return self.event.skew_seconds / 60 if self.standing.is_skewed else None

    @property
    def replaced(self) -> bool:
        """Another entry stands in its place; otherwise it was struck without one."""
        return self.struck_by is not None and self.struck_by.kind != "corrected"

    @property
    def can_be_corrected(self) -> bool:
        """Whether a person may put another entry in its place."""
        return self.standing.status != STRUCK and self.event.kind not in ("corrected", "judged")

    @property
    def can_be_struck(self) -> bool:
        """Whether a person may strike it."""
        return self.standing.status != STRUCK


def events_seen(
    events: Sequence[Event], standings: dict[str, Standing], *, newest_first: bool = True
) -> list[EventSeen]:
    """Events for a page; two queries, however many."""
    usual = Standing()
    by_ids = {standings[str(e.pk)].by for e in events if str(e.pk) in standings} - {""}
    others = _others(by_ids)
    names = people_names({event.actor for event in events})
    seen = []
    for event in events:
        standing = standings.get(str(event.pk), usual)
        striker = others.get(standing.by)
        seen.append(
            EventSeen(
                event,
                names.get(event.actor, UNNAMED),
                standing,
                striker,
                _why(striker, others),
            )
        )
    return seen[::-1] if newest_first else seen


def _others(by_ids: set[str]) -> dict[str, Event]:
    """Events that struck others, and the notes that say why."""
    if not by_ids:
        return {}
    wanted = [uuid.UUID(key) for key in (*by_ids, *(reason_id(key) for key in by_ids))]
    return {str(key): event for key, event in Event.objects.in_bulk(wanted).items()}


def _why(striker: Event | None, others: dict[str, Event]) -> str:
    if striker is None:
        return ""
    if striker.kind == "corrected":
        return str(striker.payload["why"])
    note = others.get(reason_id(str(striker.pk)))
    return str(note.payload.get("text", "")) if note is not None else ""


def sheet_events(sheet: SpecimenSheet) -> list[EventSeen]:
    """The events of a specimen's page, newest first."""
    return events_seen(sheet.events, sheet.standings)
