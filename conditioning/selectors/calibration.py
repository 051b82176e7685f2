"""Which calibration was in force."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
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


def calibration_list_by_serial(serials: Collection[str]) -> Mapping[str, Sequence[Calibration]]:
    """Every calibration of some sensors in one query: of each serial the one in force last first.

    The first of a list that is not later than an instant is ``calibration_for`` that instant.
    """
    found: dict[str, list[Calibration]] = defaultdict(list)
    rows = Calibration.objects.filter(sensor__serial__in=serials).select_related("sensor")
    for calibration in rows.order_by("-calibrated_at", "-id"):
        found[calibration.sensor.serial].append(calibration)
    return found
