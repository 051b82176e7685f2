"""The laboratory's one ledger."""

from __future__ import annotations

from django.db import models


class LedgerEntry(models.Model):
    """One fact, chained to the one before it by its hash. Never changed, never removed.

    ``entry_hash`` is the SHA-256 of ``previous_hash``, a line feed and ``content``; ``content``
    is canonical JSON of all other columns and the body, stored as the text that was hashed.
    """

    seq = models.BigIntegerField(primary_key=True)
    recorded_at = models.DateTimeField()
    actor = models.CharField(max_length=36)
    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=80)
    content = models.TextField()
    previous_hash = models.CharField(max_length=64)
    entry_hash = models.CharField(max_length=64)

    class Meta:
        ordering = ("seq",)
        indexes = (models.Index(fields=["subject", "kind", "seq"], name="evidence_ledger_subject"),)

    def __str__(self) -> str:
        return f"{self.seq} {self.kind} {self.subject}"
