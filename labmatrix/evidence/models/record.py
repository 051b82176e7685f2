"""Raw files with what is needed to read them."""

from __future__ import annotations

import uuid

from django.db import models

from labmatrix.evidence.models.blob import Blob
from labmatrix.evidence.models.job import Job
from labmatrix.evidence.models.subject import Subject

TESTS = (
    "break",
    "cyclic",
    "coupon",
    "pull-off",
    "bond",
    "cylinder",
    "cube",
    "bar",
    "chamber",
    "climate",
    "sustained",
)


class ChannelMapSaved(models.Model):
    """A channel map under a name, usually one for each rig. Versions are never changed."""

    name = models.CharField(max_length=80)
    version = models.PositiveIntegerField()
    entries = models.JSONField()
    saved_at = models.DateTimeField()

    class Meta:
        ordering = ("name", "-version")
        constraints = (
            models.UniqueConstraint(fields=["name", "version"], name="evidence_map_version"),
        )

    def __str__(self) -> str:
        return f"{self.name}, version {self.version}"


class Record(models.Model):
    """What one upload brought: files, subject, test, channel map, settings; and how far it is."""

    class Status(models.TextChoices):
        """How far the record is; the words of the API."""

        RECEIVED = "received", "received"
        READING = "reading", "reading"
        REDUCING = "reducing", "reducing"
        REDUCED = "reduced", "reduced"
        REFUSED = "refused", "refused"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    subject = models.ForeignKey(Subject, on_delete=models.PROTECT, related_name="records")
    test = models.CharField(max_length=12, choices=[(t, t) for t in TESTS])
    channel_map = models.JSONField()
    channel_map_name = models.CharField(max_length=90, blank=True)
    settings = models.JSONField(default=dict)
    cycle_offset = models.BigIntegerField(default=0)
    measured_at = models.DateTimeField(null=True)
    received_at = models.DateTimeField()
    received_by = models.CharField(max_length=36)
    status = models.CharField(max_length=8, choices=Status, default=Status.RECEIVED)
    warnings = models.JSONField(default=list)
    error = models.JSONField(null=True)
    fingerprint = models.CharField(
        max_length=64, unique=True, help_text="Of all that was sent: the same upload is one record."
    )
    job = models.ForeignKey(Job, null=True, on_delete=models.SET_NULL, related_name="records")

    class Meta:
        ordering = ("-received_at", "id")
        indexes = (
            models.Index(fields=["subject", "test", "received_at"], name="evidence_record_subject"),
        )

    def __str__(self) -> str:
        return f"{self.test} record of {self.subject_id}"


class RecordFile(models.Model):
    """One file of a record, under the name it came with."""

    record = models.ForeignKey(Record, on_delete=models.PROTECT, related_name="files")
    blob = models.ForeignKey(Blob, on_delete=models.PROTECT, related_name="record_files")
    position = models.PositiveSmallIntegerField()
    name = models.CharField(max_length=255)

    class Meta:
        ordering = ("record", "position")
        constraints = (
            models.UniqueConstraint(fields=["record", "position"], name="evidence_file_position"),
        )

    def __str__(self) -> str:
        return self.name
