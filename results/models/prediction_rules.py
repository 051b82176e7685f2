"""By which rules and limits the members of a series are predicted."""

from __future__ import annotations

from django.db import models

from labmatrix.matrix.models import Series
from labmatrix.web.models import Person


class PredictionRules(models.Model):
    """One choice of rules; the newest of a series counts, the earlier ones stay.

    ``options`` holds only what differs from the defaults of the mechanics, so that a choice that
    changes nothing leaves the keys of predictions alone.
    """

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="prediction_rules")
    options = models.JSONField(default=dict)
    why = models.CharField(max_length=400)
    chosen_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    chosen_at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return f"rules of {self.series}"
