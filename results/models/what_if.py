"""Questions what an assumed error of sensors would change, and their answers, frozen."""

from __future__ import annotations

import json
import uuid
from typing import Any

from django.db import models

from labmatrix.evidence.models import LedgerEntry
from labmatrix.matrix.models import Programme
from results.models.reduction import Metric


class WhatIf(models.Model):
    """A question: which sensors, what error, from when until when, asked by whom and why.

    ``question`` holds {errors: [{sensor, factor, offset, unit}], since, until, zone}; both days
    count, in that zone, and ``until`` is None for an error that goes on. ``programmes`` are those
    whose numbers are looked at: what a person sees of a question is what they may see of them.
    ``fingerprint`` is of question and programmes: the same question again has the same one. A row
    never changes: how far the work is, its job says.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    fingerprint = models.CharField(max_length=64, db_index=True)
    question = models.JSONField()
    programmes = models.ManyToManyField(Programme, related_name="what_ifs")
    asked_by = models.CharField(max_length=36, help_text="Id of the person.")
    asked_at = models.DateTimeField()
    why = models.CharField(max_length=240)
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="what_if")

    class Meta:
        ordering = ("-asked_at", "id")

    def __str__(self) -> str:
        return ", ".join(error["sensor"] for error in self.question["errors"])


class WhatIfAnswer(models.Model):
    """What would change, as it was found; nothing that is stored elsewhere is touched by it.

    ``snapshot`` is the canonical JSON of the sentence, the cells, the conclusions and the keys of
    the reductions that it was computed from, ``sha256`` its hash, which the ledger repeats. The
    numbers stand one by one in ``WhatIfNumber``.
    """

    question = models.OneToOneField(WhatIf, on_delete=models.PROTECT, related_name="answer")
    answered_at = models.DateTimeField()
    said = models.TextField(help_text="The first sentence of the answer.")
    snapshot = models.TextField()
    sha256 = models.CharField(max_length=64)
    software_version = models.CharField(max_length=20)
    environment = models.CharField(max_length=64, help_text="SHA-256 of the installed packages.")
    entry = models.OneToOneField(
        LedgerEntry, on_delete=models.PROTECT, related_name="what_if_answer"
    )

    def __str__(self) -> str:
        return f"answer to {self.question_id}"

    @property
    def content(self) -> dict[str, Any]:
        """The snapshot as data."""
        found: dict[str, Any] = json.loads(self.snapshot)
        return found


class WhatIfNumber(models.Model):
    """One number as it stood and as it would be; without ``metric`` it would be a new one."""

    answer = models.ForeignKey(WhatIfAnswer, on_delete=models.PROTECT, related_name="numbers")
    place = models.PositiveIntegerField(help_text="Order in the answer.")
    metric = models.ForeignKey(
        Metric, null=True, on_delete=models.PROTECT, related_name="what_if_numbers"
    )
    specimen = models.CharField(max_length=60)
    cell = models.CharField(max_length=60)
    series = models.CharField(max_length=60)
    name = models.CharField(max_length=40)
    method = models.CharField(max_length=40, blank=True)
    at = models.BigIntegerField(null=True)
    unit = models.CharField(max_length=12)
    old_value = models.FloatField(null=True)
    old_bound = models.CharField(max_length=5, blank=True)
    new_value = models.FloatField(null=True)
    new_bound = models.CharField(max_length=5, blank=True)
    relative = models.FloatField(null=True, help_text="(new − old) / |old|, no unit.")
    moves = models.BooleanField()

    class Meta:
        ordering = ("answer", "place")
        constraints = (
            models.UniqueConstraint(fields=["answer", "place"], name="results_what_if_place"),
        )

    def __str__(self) -> str:
        return f"{self.name} {self.old_value} -> {self.new_value} {self.unit}"
