"""Deliveries, batches and heats, and the tests on them that a person typed."""

from __future__ import annotations

import uuid

from django.db import models

from labmatrix.evidence.models import LedgerEntry, Subject
from labmatrix.matrix.models import Programme
from specimens.domain.lot import KIND_WORDS
from specimens.domain.typed_test import TEST_WORDS


class Lot(models.Model):
    """One lot of fabric, mortar or anchors, batch of concrete, or heat of bars, by its code.

    Events name it: ``cast`` its batch and its bars, ``layer`` the lot of fabric or mortar,
    ``anchored`` the lot of anchors. ``specified`` holds what ``source`` (data sheet or design) says
    of it, the unit in each name; it is used until tests have measured the same.
    """

    subject = models.OneToOneField(Subject, on_delete=models.PROTECT, related_name="lot")
    code = models.CharField(max_length=60, unique=True)
    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="lots")
    kind = models.CharField(max_length=8, choices=list(KIND_WORDS.items()))
    title = models.CharField(max_length=160)
    made_on = models.DateField(
        null=True, help_text="Day on which it was mixed, or delivered; ages count from it."
    )
    specified = models.JSONField(default=dict)
    source = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    added_at = models.DateTimeField()

    class Meta:
        ordering = ("kind", "code")

    def __str__(self) -> str:
        return self.code


class TypedTest(models.Model):
    """What a person typed of one test on a lot. Never changed: a later row strikes it, why."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    lot = models.ForeignKey(Lot, on_delete=models.PROTECT, related_name="typed_tests")
    test = models.CharField(max_length=12, choices=list(TEST_WORDS.items()))
    mark = models.CharField(max_length=40, help_text="On the piece: C1, B-2.")
    tested_on = models.DateField()
    values = models.JSONField(default=dict)
    note = models.CharField(max_length=400, blank=True)
    strikes = models.OneToOneField(
        "self", null=True, on_delete=models.PROTECT, related_name="struck_by"
    )
    typed_at = models.DateTimeField()
    typed_by = models.CharField(max_length=36)
    entry = models.OneToOneField(LedgerEntry, on_delete=models.PROTECT, related_name="typed_test")

    class Meta:
        ordering = ("lot", "tested_on", "typed_at", "id")

    def __str__(self) -> str:
        return f"{self.test} {self.mark}"
