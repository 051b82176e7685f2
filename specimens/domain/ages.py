"""Ages, always qualified: of the concrete, of the mortar, since the end of exposure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from specimens.domain.life import Life


@dataclass(frozen=True)
class Ages:
    """Days at some instant; None where the beginning is unknown or has not come."""

    concrete_d: float | None
    mortar_d: float | None
    since_exposure_d: float | None


def _days(since: datetime | None, at: datetime) -> float | None:
    if since is None or since > at:
        return None
    return (at - since).total_seconds() / 86400.0


def concrete_began(life: Life) -> datetime | None:
    """When the concrete was placed: the cast event, else the date given with the origin."""
    if life.cast_at is not None:
        return life.cast_at
    if life.origin_date is None:
        return None
    return datetime.combine(date.fromisoformat(life.origin_date), time(), tzinfo=UTC)


def exposure_ended(life: Life) -> datetime | None:
    """When the last stay with a run ended; None while one goes on or before any."""
    stays = [stay for stay in life.stays if stay.run]
    if not stays or any(stay.until is None for stay in stays):
        return None
    return max(stay.until for stay in stays if stay.until is not None)


def ages_since(
    *,
    concrete: datetime | None,
    mortar: datetime | None,
    exposure: datetime | None,
    at: datetime,
) -> Ages:
    """Ages in days at an instant, from the instants at which each began."""
    return Ages(
        concrete_d=_days(concrete, at),
        mortar_d=_days(mortar, at),
        since_exposure_d=_days(exposure, at),
    )


def ages_at(life: Life, at: datetime) -> Ages:
    """Ages in days at an instant."""
    return ages_since(
        concrete=concrete_began(life), mortar=life.mortar_at, exposure=exposure_ended(life), at=at
    )
