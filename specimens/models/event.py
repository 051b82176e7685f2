"""Facts about specimens and machines."""

from __future__ import annotations

from django.db import models

from labmatrix.evidence.models import LedgerEntry, Subject
from specimens.domain.event import IMPORTED, EventFact


class Event(models.Model):
    """One event as it was admitted. The ledger holds the same; the database refuses changes."""

    id = models.UUIDField(primary_key=True, editable=False)
    subject = models.ForeignKey(Subject, on_delete=models.PROTECT, related_name="events")
    kind = models.CharField(max_length=20)
    occurred_at = models.DateTimeField()
    received_at = models.DateTimeField()
    device_at = models.DateTimeField(null=True)
    device = models.CharField(max_length=40, blank=True)
    sequence = models.BigIntegerField(null=True)
    skew_seconds = models.FloatField(default=0.0)
    payload = models.JSONField(default=dict)
    corrects = models.UUIDField(null=True)
    actor = models.CharField(max_length=36)
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="event")

    class Meta:
        ordering = ("occurred_at", "id")
        indexes = (models.Index(fields=["subject", "occurred_at"], name="specimens_event_subject"),)

    def __str__(self) -> str:
        return f"{self.kind} {self.subject_id}"

    @property
    def is_imported(self) -> bool:
        """Taken from a workbook of past years, not logged when it happened."""
        return self.device == IMPORTED

    def as_fact(self) -> EventFact:
        """The event as the fold takes it."""
        return EventFact(
            id=str(self.id),
            kind=self.kind,
            occurred_at=self.occurred_at,
            payload=self.payload,
            device_at=self.device_at,
            device=self.device,
            sequence=self.sequence,
            skew_seconds=self.skew_seconds,
            corrects=str(self.corrects) if self.corrects else None,
            actor=self.actor,
        )
