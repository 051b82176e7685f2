"""Sensors and what calibration found of them."""

from __future__ import annotations

from typing import Any

from django.db import models

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.clock import iso


class Sensor(models.Model):
    """A sensor by the serial on its body; ``range_low`` to ``range_high`` in its ``unit``."""

    serial = models.CharField(max_length=100, unique=True)
    quantity = models.CharField(max_length=20)
    unit = models.CharField(max_length=12)
    range_low = models.FloatField(null=True, blank=True)
    range_high = models.FloatField(null=True, blank=True)
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("serial",)
        constraints = (
            models.CheckConstraint(condition=~models.Q(serial=""), name="conditioning_serial"),
            models.CheckConstraint(
                condition=models.Q(range_low__isnull=True)
                | models.Q(range_high__isnull=True)
                | models.Q(range_low__lt=models.F("range_high")),
                name="conditioning_sensor_range",
            ),
        )

    def __str__(self) -> str:
        return self.serial


class Calibration(models.Model):
    """What one calibration found. Never changed: a mistake is put right by a later entry.

    ``factor`` multiplies every reading. ``zero`` is what the sensor read with nothing on it, in
    its unit, kept to see it drift; the zero of a test is its channel map's. ``u_relative`` is a
    relative standard uncertainty (0.005 for half a per cent), ``u_absolute`` one in the unit.
    """

    sensor = models.ForeignKey(Sensor, on_delete=models.PROTECT, related_name="calibrations")
    calibrated_at = models.DateTimeField()
    factor = models.FloatField()
    zero = models.FloatField(default=0.0)
    u_relative = models.FloatField(default=0.0)
    u_absolute = models.FloatField(default=0.0)
    certificate = models.CharField(max_length=120, blank=True)
    due_on = models.DateField(null=True, blank=True)
    recorded_at = models.DateTimeField()
    recorded_by = models.CharField(max_length=36)
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="calibration")

    class Meta:
        ordering = ("sensor", "-calibrated_at", "-id")
        indexes = (
            models.Index(fields=["sensor", "calibrated_at"], name="conditioning_calibration_at"),
        )

    def __str__(self) -> str:
        return f"{self.sensor_id} {self.calibrated_at:%Y-%m-%d}"

    def as_input(self) -> dict[str, Any]:
        """What a reduction's key covers, JSON-ready."""
        return {
            "calibrated_at": iso(self.calibrated_at),
            "factor": self.factor,
            "zero": self.zero,
            "u_relative": self.u_relative,
            "u_absolute": self.u_absolute,
            "certificate": self.certificate,
        }
