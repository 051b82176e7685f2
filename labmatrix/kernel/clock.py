"""Instants: UTC inside, ISO 8601 with microseconds and a Z when written down.

"Now" is read once for each operation and passed on, so that one operation has one time.
"""

from __future__ import annotations

from datetime import UTC, datetime

from labmatrix.kernel.errors import ShapeError


def now() -> datetime:
    """The present instant, aware, in UTC."""
    return datetime.now(UTC)


def iso(instant: datetime) -> str:
    """``2026-03-01T08:30:00.000000Z``: fixed width, so that text order is time order.

    Raises:
        ValueError: the instant has no time zone.
    """
    if instant.tzinfo is None:
        raise ValueError("an instant needs a time zone")
    return instant.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def parse_instant(text: str, *, argument: str = "occurred_at") -> datetime:
    """An aware instant in UTC from ISO 8601 text with an offset or a Z.

    Raises:
        ShapeError: not ISO 8601, or without an offset (a wall clock is not an instant).
    """
    try:
        instant = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        instant = None
    if instant is None or instant.tzinfo is None:
        raise ShapeError(
            "input.instant",
            f"{argument} is {text!r}; allowed is an ISO 8601 instant with its offset, "
            "such as 2026-03-01T08:30:00Z.",
            argument=argument,
            value=str(text),
        )
    try:
        return instant.astimezone(UTC)
    except OverflowError as error:
        raise ShapeError(
            "input.instant",
            f"{argument} is {text!r}, which lies outside the years 1 to 9999 in UTC.",
            argument=argument,
            value=str(text),
        ) from error
