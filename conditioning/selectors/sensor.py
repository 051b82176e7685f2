"""Read sensors with the calibration in force."""

from __future__ import annotations

from datetime import date

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from conditioning.models import Calibration, Sensor
from labmatrix.kernel.errors import NotFound
from labmatrix.kernel.text import check_storable
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person


def sensor_list(*, actor: Person) -> QuerySet[Sensor]:
    """The laboratory's sensors with ``last_at``, ``last_factor`` and ``due_on`` of the last
    calibration.

    Raises:
        NotFound: beyond the person's role.
    """
    require(actor.role, Action.SEE_MACHINES)
    last = Calibration.objects.filter(sensor=OuterRef("pk")).order_by("-calibrated_at", "-id")
    return Sensor.objects.annotate(
        last_at=Subquery(last.values("calibrated_at")[:1]),
        last_factor=Subquery(last.values("factor")[:1]),
        due_on=Subquery(last.values("due_on")[:1]),
    ).order_by("serial")


def calibration_list_lapsing(*, actor: Person, until: date) -> QuerySet[Calibration]:
    """Calibrations in force that lapse by a day or have lapsed, the first to lapse first.

    Raises:
        NotFound: beyond the person's role.
    """
    require(actor.role, Action.SEE_MACHINES)
    same = Q(calibrated_at=OuterRef("calibrated_at"), id__gt=OuterRef("id"))
    later = Calibration.objects.filter(
        Q(calibrated_at__gt=OuterRef("calibrated_at")) | same, sensor=OuterRef("sensor")
    )
    return (
        Calibration.objects.filter(~Exists(later), due_on__lte=until)
        .select_related("sensor")
        .order_by("due_on", "sensor__serial")
    )


def sensor_get(*, actor: Person, serial: str, action: Action = Action.SEE_MACHINES) -> Sensor:
    """A sensor by its serial.

    Raises:
        NotFound: not there, or beyond the person's role.
        ShapeError: ``input.text``.
    """
    require(actor.role, action)
    check_storable(serial, argument="serial")
    sensor = Sensor.objects.filter(serial=serial).first()
    if sensor is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return sensor


def calibration_list_of_sensor(sensor: Sensor) -> QuerySet[Calibration]:
    """All entries for a sensor, the one in force first."""
    return Calibration.objects.filter(sensor=sensor).order_by("-calibrated_at", "-id")
