"""The one order in which events are folded, whatever order they arrived in."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime, timedelta

from specimens.domain.event import EventFact

SKEW_TOLERANCE_SECONDS = 120.0


def is_skewed(event: EventFact) -> bool:
    """Whether the device's clock was off by more than two minutes; such events are marked."""
    return abs(event.skew_seconds) > SKEW_TOLERANCE_SECONDS


def corrected_time(event: EventFact) -> datetime:
    """When it happened, with a wrong device clock put right.

    A time that a person typed is theirs and stays; so does a clock within the tolerance.
    """
    if event.is_back_dated or not is_skewed(event):
        return event.occurred_at
    try:
        return event.occurred_at + timedelta(seconds=event.skew_seconds)
    except OverflowError:
        return event.occurred_at


def in_order(events: Iterable[EventFact]) -> list[EventFact]:
    """Events in the order of the fold.

    Within a device its sequence decides, unless the person dated an event back: the effective
    time of a device's event is the latest corrected time among its events up to that sequence
    number, so a clock that was set back in mid-work cannot turn the work round. Between devices
    (effective time, device, sequence, id) decides. The result depends on the set alone.
    """
    unique = list({event.id: event for event in events}.values())
    by_device: dict[str, list[EventFact]] = defaultdict(list)
    effective: dict[str, datetime] = {}
    for event in unique:
        if event.device and event.sequence is not None and not event.is_back_dated:
            by_device[event.device].append(event)
        effective[event.id] = corrected_time(event)
    for own in by_device.values():
        latest: datetime | None = None
        for event in sorted(own, key=lambda e: (e.sequence or 0, e.id)):
            at = corrected_time(event)
            latest = at if latest is None or at > latest else latest
            effective[event.id] = latest
    return sorted(
        unique,
        key=lambda e: (effective[e.id], e.device, -1 if e.sequence is None else e.sequence, e.id),
    )
