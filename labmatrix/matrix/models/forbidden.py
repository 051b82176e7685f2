"""Levels that never go together."""

from __future__ import annotations

from django.db import models

from labmatrix.matrix.models.level import Level
from labmatrix.matrix.models.series import Series


class ForbiddenCombination(models.Model):
    """Levels of two or more factors that no cell may hold together, and why."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="forbidden")
    levels = models.ManyToManyField(Level, related_name="forbidden")
    combination = models.CharField(max_length=64, editable=False)
    why = models.CharField(max_length=240)

    class Meta:
        ordering = ("series", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["series", "combination"], name="matrix_forbidden_combination"
            ),
            models.CheckConstraint(condition=~models.Q(why=""), name="matrix_forbidden_why"),
        )

    def __str__(self) -> str:
        return self.why
