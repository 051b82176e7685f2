"""A variable of the matrix."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from labmatrix.matrix.domain.design import FactorKind, FactorPart
from labmatrix.matrix.models.series import Series


class Factor(models.Model):
    """A variable of a series: a number with a unit, or a name."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="factors")
    name = models.CharField(max_length=40)
    kind = models.CharField(max_length=8, choices=[(str(k), str(k)) for k in FactorKind])
    unit = models.CharField(
        max_length=12, blank=True, help_text="Of the levels' numbers; empty for a bare number."
    )
    part = models.CharField(
        max_length=16,
        choices=[(str(p), str(p)) for p in FactorPart],
        default=str(FactorPart.OTHER),
        help_text="What it changes: tells which cell is whose control.",
    )
    is_open = models.BooleanField(
        default=False, help_text="A matrix file may bring levels that are not listed yet."
    )
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("series", "position", "id")
        constraints = (
            models.UniqueConstraint("series", Lower("name"), name="matrix_factor_name"),
            models.CheckConstraint(condition=~models.Q(name=""), name="matrix_factor_named"),
            models.CheckConstraint(
                condition=models.Q(kind__in=[str(k) for k in FactorKind]), name="matrix_factor_kind"
            ),
            models.CheckConstraint(
                condition=models.Q(part__in=[str(p) for p in FactorPart]), name="matrix_factor_part"
            ),
            models.CheckConstraint(
                condition=models.Q(kind=str(FactorKind.NUMERIC)) | models.Q(unit=""),
                name="matrix_factor_unit",
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def heading(self) -> str:
        """The name with its unit, as a table's heading has it."""
        return f"{self.name} [{self.unit}]" if self.unit else self.name
