"""Workbooks of past years, and the results that were typed in them."""

from __future__ import annotations

import uuid

from django.db import models

from labmatrix.evidence.models import Blob, Job, LedgerEntry, Subject
from labmatrix.matrix.models import Programme


class HistoryImport(models.Model):
    """One workbook: looked at first, then taken in whole or not at all."""

    class Status(models.TextChoices):
        """How far it is."""

        CHECKING = "checking", "being looked at"
        CHECKED = "checked", "looked at, nothing is wrong"
        REFUSED = "refused", "cannot be taken in"
        TAKING = "taking", "being taken in"
        TAKEN = "taken", "taken in"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="histories")
    blob = models.ForeignKey(Blob, on_delete=models.PROTECT, related_name="histories")
    filename = models.CharField(max_length=160)
    asked_by = models.CharField(max_length=36)
    asked_at = models.DateTimeField()
    status = models.CharField(max_length=8, choices=Status, default=Status.CHECKING)
    summary = models.JSONField(default=dict)
    error = models.JSONField(null=True)
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="histories")
    taken_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-asked_at", "id")

    def __str__(self) -> str:
        return f"{self.filename}: {self.status}"


class TypedResult(models.Model):
    """A result that a person typed: there is no raw record from which it could be computed.

    Values are in the base unit of the result; ``said`` is what was typed. The ledger holds the
    same, and the database refuses changes.
    """

    subject = models.ForeignKey(Subject, on_delete=models.PROTECT, related_name="typed_results")
    name = models.CharField(max_length=40, db_index=True)
    method = models.CharField(max_length=40, blank=True)
    at = models.BigIntegerField(null=True)
    value = models.FloatField()
    unit = models.CharField(max_length=12)
    u = models.FloatField(null=True)
    said = models.CharField(max_length=80)
    measured_on = models.DateField(null=True)
    raw_record = models.CharField(
        max_length=255, blank=True, help_text="Name of the raw file, as the workbook gives it."
    )
    source = models.ForeignKey(HistoryImport, on_delete=models.PROTECT, related_name="results")
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="typed_result")

    class Meta:
        ordering = ("subject", "name", "at", "method")
        constraints = (
            models.UniqueConstraint(
                fields=["subject", "name", "method"],
                condition=models.Q(at__isnull=True),
                name="results_typed_once",
            ),
            models.UniqueConstraint(
                fields=["subject", "name", "method", "at"],
                condition=models.Q(at__isnull=False),
                name="results_typed_once_a_cycle",
            ),
        )

    def __str__(self) -> str:
        return f"{self.name} {self.value} {self.unit}, typed"


class TypedCorrection(models.Model):
    """A later word on an imported number: what it should have been, or that it counts no more.

    Neither the number nor a correction is ever edited; the last correction counts. ``value`` and
    ``u`` are in the unit of the result, and None where the number was struck.
    """

    result = models.ForeignKey(TypedResult, on_delete=models.PROTECT, related_name="corrections")
    place = models.PositiveIntegerField()
    value = models.FloatField(null=True)
    u = models.FloatField(null=True)
    said = models.CharField(max_length=80, blank=True)
    why = models.CharField(max_length=400)
    made_by = models.CharField(max_length=36)
    made_at = models.DateTimeField()
    entry = models.OneToOneField(
        LedgerEntry, on_delete=models.PROTECT, related_name="typed_correction"
    )

    class Meta:
        ordering = ("result", "place")
        constraints = (
            models.UniqueConstraint(fields=["result", "place"], name="results_correction_in_turn"),
        )

    def __str__(self) -> str:
        return f"{self.result}: correction {self.place}"
