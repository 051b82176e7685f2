"""Numbers with all that they came from."""

from __future__ import annotations

import uuid

from django.db import models

from labmatrix.evidence.models import Blob, Record


class Reduction(models.Model):
    """One computation from one record to numbers.

    ``key`` is the SHA-256 of ``inputs``, the canonical JSON of everything that went in: blob
    hashes, channel map, specimen as measured, cycle offset, calibrations, settings, reduction
    name and version. Rows are snapshots: another input makes another row, and what it replaced
    stays beside it.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    key = models.CharField(max_length=64, unique=True)
    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="reductions")
    name = models.CharField(max_length=20)
    version = models.CharField(max_length=12)
    inputs = models.TextField()
    settings = models.JSONField(default=dict, help_text="As resolved, with what was chosen.")
    warnings = models.JSONField(default=list)
    marks = models.JSONField(default=list)
    curve = models.JSONField(default=dict)
    table = models.ForeignKey(Blob, null=True, on_delete=models.PROTECT, related_name="tables")
    is_current = models.BooleanField(default=True)
    why = models.CharField(max_length=400, default="first reduction")
    superseded_at = models.DateTimeField(null=True)
    superseded_by = models.ForeignKey(
        "self", null=True, on_delete=models.PROTECT, related_name="supersedes"
    )
    reduced_at = models.DateTimeField()
    software_version = models.CharField(max_length=20)
    environment = models.CharField(max_length=64, help_text="SHA-256 of the installed packages.")

    class Meta:
        ordering = ("-reduced_at", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["record"],
                condition=models.Q(is_current=True),
                name="results_one_current_reduction",
            ),
        )

    def __str__(self) -> str:
        return f"{self.name} {self.version} of {self.record_id}"


class Metric(models.Model):
    """One number. Its id follows from the reduction's key, its name, method and cycle."""

    id = models.UUIDField(primary_key=True, editable=False)
    reduction = models.ForeignKey(Reduction, on_delete=models.PROTECT, related_name="metrics")
    name = models.CharField(max_length=40, db_index=True)
    method = models.CharField(max_length=40, blank=True)
    value = models.FloatField()
    unit = models.CharField(max_length=12)
    u = models.FloatField(null=True)
    budget = models.JSONField(
        null=True, help_text="Where u comes from: {u, dof, method, rows: [{source, …}]}."
    )
    at = models.BigIntegerField(null=True)
    bound = models.CharField(max_length=5, blank=True)
    point = models.JSONField(null=True)

    class Meta:
        ordering = ("reduction", "at", "name", "method")

    def __str__(self) -> str:
        return f"{self.name} {self.value} {self.unit}"
