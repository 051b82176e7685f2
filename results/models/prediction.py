"""What a member is expected to do, with all that it was computed from."""

from __future__ import annotations

import uuid

from django.db import models

from labmatrix.matrix.models import Cell
from specimens.models import Specimen


class Prediction(models.Model):
    """One computation from a planned member, or from a measured one, to what it will carry.

    A row without a specimen is of the cell as specified; a row with one has measured values in the
    place of specified ones. ``key`` is the SHA-256 of ``inputs``, the canonical JSON of everything
    that went in. Rows are snapshots: another input makes another row, and what it replaced stays
    beside it. ``error`` says in a sentence why nothing could be predicted.
    """

    class Values(models.TextChoices):
        """Which values of geometry and material were used."""

        SPECIFIED = "specified", "specified"
        MEASURED = "measured", "measured in place of specified"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    key = models.CharField(max_length=64, unique=True)
    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="predictions")
    specimen = models.ForeignKey(
        Specimen, null=True, on_delete=models.PROTECT, related_name="predictions"
    )
    values = models.CharField(max_length=9, choices=Values)
    used = models.JSONField(
        default=dict, help_text="Each value by name: its number or text, and specified or measured."
    )
    inputs = models.TextField()
    version = models.CharField(max_length=12, help_text="Of the mechanics.")
    outcome = models.JSONField(default=dict, help_text="Loads, mode, flags, life, spread.")
    curve = models.JSONField(default=dict, help_text="Deflections in mm and loads in kN.")
    sheet = models.JSONField(default=dict, help_text="Every step: symbol, words, value, clause.")
    error = models.JSONField(null=True)
    is_current = models.BooleanField(default=True)
    why = models.CharField(max_length=400, default="first prediction")
    superseded_at = models.DateTimeField(null=True)
    superseded_by = models.ForeignKey(
        "self", null=True, on_delete=models.PROTECT, related_name="supersedes"
    )
    made_at = models.DateTimeField()
    software_version = models.CharField(max_length=20)
    environment = models.CharField(max_length=64, help_text="SHA-256 of the installed packages.")

    class Meta:
        ordering = ("-made_at", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["specimen"],
                condition=models.Q(is_current=True, specimen__isnull=False),
                name="results_one_prediction_of_specimen",
            ),
            models.UniqueConstraint(
                fields=["cell"],
                condition=models.Q(is_current=True, specimen__isnull=True),
                name="results_one_prediction_of_cell",
            ),
        )

    def __str__(self) -> str:
        return f"prediction of {self.specimen or self.cell}"
