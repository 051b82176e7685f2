"""Which calibration was in force."""

from __future__ import annotations

from datetime import datetime

from conditioning.models import Calibration


def calibration_for(serial: str, at: datetime) -> Calibration | None:
    """The last calibration of a sensor not later than an instant; None when there is none.

    Of two for the same instant the one entered later counts: it puts the first one right.
    """
    return (
        Calibration.objects.filter(sensor__serial=serial, calibrated_at__lte=at)
        .select_related("sensor")
        .order_by("-calibrated_at", "-id")
        .first()
    )
