"""Names of time zones."""

from __future__ import annotations

from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from labmatrix.kernel.errors import ShapeError

UNKNOWN = "The time zone is {zone!r}; allowed is an IANA name such as Europe/Lisbon."
_PLACES = (
    "Africa/",
    "America/",
    "Antarctica/",
    "Asia/",
    "Atlantic/",
    "Australia/",
    "Europe/",
    "Indian/",
    "Pacific/",
)


def check_zone(zone: str) -> str:
    """A name of the IANA time zone data base, as it was given.

    Raises:
        ShapeError: ``laboratory.time-zone``.
    """
    try:
        ZoneInfo(zone)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        shown = zone[:80]
        raise ShapeError(
            "laboratory.time-zone", UNKNOWN.format(zone=shown), time_zone=shown
        ) from error
    return zone


def zone_names() -> list[str]:
    """Zones that a form offers: UTC, then those named after places."""
    return ["UTC", *sorted(zone for zone in available_timezones() if zone.startswith(_PLACES))]
