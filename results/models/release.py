"""A version of the results of a series, as it was released."""

from __future__ import annotations

import json
import uuid
from typing import Any

from django.db import models

from labmatrix.evidence.models import LedgerEntry
from labmatrix.matrix.models import Series


class Release(models.Model):
    """Results frozen in one version; the database refuses to change or remove a row.

    ``snapshot`` is the canonical JSON of everything that is shown, ``sha256`` its hash, which the
    ledger entry ``entry`` repeats. An amendment is the next version: ``changes`` says what differs
    from the version before, ``why`` says why.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="releases")
    version = models.PositiveIntegerField()
    released_at = models.DateTimeField()
    released_by = models.CharField(max_length=36, help_text="Id of the person.")
    scope = models.CharField(max_length=400, help_text="A sentence: valid for …")
    why = models.CharField(max_length=240)
    what = models.JSONField(default=dict, help_text="Metrics, control and specimens chosen.")
    snapshot = models.TextField()
    sha256 = models.CharField(max_length=64)
    changes = models.JSONField(default=list, help_text="What differs from the version before.")
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="release")

    class Meta:
        ordering = ("series", "-version")
        constraints = (
            models.UniqueConstraint(fields=["series", "version"], name="results_release_version"),
        )

    def __str__(self) -> str:
        return f"{self.series_id} version {self.version}"

    @property
    def content(self) -> dict[str, Any]:
        """The snapshot as data."""
        found: dict[str, Any] = json.loads(self.snapshot)
        return found
