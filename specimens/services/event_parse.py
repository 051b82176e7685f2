"""Read one event as it was sent: shapes only, no database."""

from __future__ import annotations

import re
import uuid
from collections.abc import Mapping
from datetime import UTC, datetime

from labmatrix.kernel.clock import parse_instant
from labmatrix.kernel.codes import CODE_PATTERN
from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.text import check_storable
from labmatrix.web.models import Person
from specimens.domain.catalogue import payload_parse, payload_plain
from specimens.domain.event import IMPORTED, EventFact

EARLIEST = datetime(1900, 1, 1, tzinfo=UTC)
LATEST = datetime(2200, 1, 1, tzinfo=UTC)
OUTSIDE_YEARS = "{argument} is {text}; allowed are the years 1900 to 2199."
DEVICE_RESERVED = (
    "device is {name!r}, which marks events taken from workbooks of past years; another name is "
    "allowed, or none."
)
_FIELDS = frozenset(
    {
        "id",
        "subject",
        "kind",
        "occurred_at",
        "device_at",
        "device",
        "sequence",
        "payload",
        "corrects",
    }
)


def _shown(raw: object) -> str:
    """A value in a sentence, cut to a length that a person reads."""
    text = repr(raw)
    return text if len(text) <= 80 else f"{text[:80]} …"


def event_sent_id(raw: object) -> str:
    """The id under which an answer names what was sent: storable, of at most 60 characters."""
    sent = raw.get("id", "") if isinstance(raw, Mapping) else ""
    text = sent if isinstance(sent, str) else _shown(sent)
    return text[:60].replace("\x00", "?").encode("utf-8", "replace").decode()


def event_subject_code(raw: object) -> str | None:
    """The subject's code in what was sent; None for what cannot be one."""
    code = raw.get("subject") if isinstance(raw, Mapping) else None
    return code if isinstance(code, str) and re.match(CODE_PATTERN, code) else None


def event_names(raw: object) -> str | None:
    """Id of the event that what was sent strikes or replaces; None where it names none."""
    if not isinstance(raw, Mapping):
        return None
    payload = raw.get("payload")
    inner = payload.get("event") if isinstance(payload, Mapping) else None
    named = inner if raw.get("kind") == "corrected" else raw.get("corrects")
    try:
        return str(uuid.UUID(named if isinstance(named, str) else ""))
    except ValueError:
        return None  # said so when the event itself is read


def _uuid(raw: object, argument: str) -> str:
    try:
        return str(uuid.UUID(raw if isinstance(raw, str) else ""))
    except ValueError as error:
        raise ShapeError(
            "event.id",
            f"{argument} is {_shown(raw)}; allowed is a UUID (version 7 by preference).",
            argument=argument,
        ) from error


def _short(raw: object, argument: str, at_most: int) -> str:
    if not isinstance(raw, str) or len(raw) > at_most:
        raise ShapeError(
            "event.shape",
            f"{argument} is {_shown(raw)}; allowed is a text of at most {at_most} characters.",
            argument=argument,
        )
    return raw


def _device(raw: object) -> str:
    name = _short(raw, "device", 40)
    if name.strip().casefold() == IMPORTED:
        raise ShapeError(
            "event.device-reserved", DEVICE_RESERVED.format(name=name), argument="device"
        )
    return name


def _sequence(raw: object) -> int | None:
    if raw is None:
        return None
    if isinstance(raw, bool) or not isinstance(raw, int) or not 0 <= raw < 2**62:
        raise ShapeError(
            "event.shape",
            f"sequence is {_shown(raw)}; allowed is a whole number from 0 to 2^62.",
            argument="sequence",
        )
    return raw


def instant_parse(raw: object, argument: str) -> datetime:
    """An instant as it was sent, in UTC.

    Raises:
        ShapeError: ``input.instant`` for what is none, ``event.years`` for one that no event of
            a laboratory has.
    """
    text = raw[:60] if isinstance(raw, str) else _shown(raw)
    instant = parse_instant(text, argument=argument)
    if not EARLIEST <= instant < LATEST:
        raise ShapeError(
            "event.years",
            OUTSIDE_YEARS.format(argument=argument, text=repr(text)),
            argument=argument,
        )
    return instant


def event_parse(raw: object, *, actor: Person, skew_seconds: float) -> tuple[str, EventFact]:
    """The subject's code and the fact of one event as it was sent.

    Raises:
        ShapeError: what does not fit, field by field.
    """
    if not isinstance(raw, Mapping):
        raise ShapeError("event.shape", "An event is a JSON object with id, subject, kind, …")
    check_storable(raw, argument="event")
    unknown = sorted(set(raw) - _FIELDS)
    if unknown:
        raise ShapeError(
            "event.shape",
            f"The event has the fields {_shown(unknown)}; allowed are "
            f"{', '.join(sorted(_FIELDS))}.",
        )
    kind = _short(raw.get("kind"), "kind", 40)
    payload = payload_plain(payload_parse(kind, raw.get("payload", {})))
    device_at = raw.get("device_at")
    corrects = raw.get("corrects")
    return _short(raw.get("subject"), "subject", 60), EventFact(
        id=_uuid(raw.get("id"), "id"),
        kind=kind,
        occurred_at=instant_parse(raw.get("occurred_at"), "occurred_at"),
        payload=payload,
        device_at=None if device_at is None else instant_parse(device_at, "device_at"),
        device=_device(raw.get("device") or ""),
        sequence=_sequence(raw.get("sequence")),
        skew_seconds=skew_seconds if device_at is not None else 0.0,
        corrects=None if corrects is None else _uuid(corrects, "corrects"),
        actor=str(actor.id),
    )
