"""Chambers, rigs, frames and loggers."""

from __future__ import annotations

from django.core.validators import RegexValidator
from django.db import models

from labmatrix.evidence.models import Subject
from labmatrix.kernel.codes import CODE_PATTERN


class Machine(models.Model):
    """Something that specimens stand in or are tested on; it belongs to the laboratory.

    ``positions`` is the number of places for specimens, 0 where places are not counted.
    ``dynamic_performance`` holds what was measured of a cycling rig: a list of
    {amplitude_mm, frequency_hz, load_kn}, or is empty.
    """

    class Kind(models.TextChoices):
        """What sort of machine."""

        CHAMBER = "chamber", "chamber"
        RIG = "rig", "rig"
        FRAME = "frame", "frame"
        LOGGER = "logger", "logger"
        OTHER = "other", "other"

    subject = models.OneToOneField(Subject, on_delete=models.PROTECT, related_name="machine")
    code = models.CharField(
        max_length=60,
        unique=True,
        validators=[RegexValidator(CODE_PATTERN, "A code is made of A-Z, 0-9 and hyphens.")],
    )
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=8, choices=Kind)
    positions = models.PositiveSmallIntegerField(default=0)
    note = models.TextField(blank=True)
    dynamic_performance = models.JSONField(null=True, blank=True)

    class Meta:
        ordering = ("code",)
        constraints = (
            models.CheckConstraint(condition=~models.Q(name=""), name="conditioning_machine_named"),
            models.CheckConstraint(
                condition=models.Q(kind__in=["chamber", "rig", "frame", "logger", "other"]),
                name="conditioning_machine_kind",
            ),
        )

    def __str__(self) -> str:
        return self.code
