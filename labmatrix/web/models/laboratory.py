"""The laboratory that this installation serves."""

from __future__ import annotations

from django.db import models

from labmatrix.web.domain.unit_systems import SI, SYSTEMS


class Laboratory(models.Model):
    """The one laboratory of an installation: its name and the zone its schedules are read in."""

    name = models.CharField(max_length=120)
    time_zone = models.CharField(max_length=60, default="UTC")
    unit_system = models.CharField(
        max_length=12,
        choices=[(name, name) for name in SYSTEMS],
        default=SI,
        db_default=SI,
        help_text="What people are shown until they choose.",
    )
    is_invented = models.BooleanField(
        default=False, help_text="All data are invented; every page and export says so."
    )

    class Meta:
        constraints = (models.CheckConstraint(condition=models.Q(id=1), name="web_one_laboratory"),)

    def __str__(self) -> str:
        return self.name
