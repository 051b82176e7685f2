"""Work to be done once."""

from __future__ import annotations

import uuid

from django.db import models


class Job(models.Model):
    """A piece of work, written in the transaction that asks for it.

    The broker's message carries the id only and may be lost or doubled: the row decides. A worker
    claims it by a conditional update and holds it by a lease; what it found is written in one
    transaction with the change to ``done``, which fails if the lease has passed to another.
    """

    class State(models.TextChoices):
        """Where the work stands."""

        WAITING = "waiting", "waiting"
        RUNNING = "running", "running"
        DONE = "done", "done"
        FAILED = "failed", "failed"
        CANCELLED = "cancelled", "cancelled"

    class Queue(models.TextChoices):
        """Long work never blocks an upload."""

        SHORT = "short", "short"
        LONG = "long", "long"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    key = models.CharField(max_length=120, unique=True)
    queue = models.CharField(max_length=8, choices=Queue, default=Queue.SHORT)
    payload = models.JSONField()
    state = models.CharField(max_length=10, choices=State, default=State.WAITING)
    attempts = models.PositiveSmallIntegerField(default=0)
    max_attempts = models.PositiveSmallIntegerField(default=5)
    lease_token = models.UUIDField(null=True)
    lease_until = models.DateTimeField(null=True)
    progress = models.FloatField(default=0.0)
    progress_words = models.CharField(max_length=200, blank=True)
    cancel_requested = models.BooleanField(default=False)
    error = models.JSONField(null=True)
    created_at = models.DateTimeField()
    sent_at = models.DateTimeField(null=True)
    started_at = models.DateTimeField(null=True)
    finished_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("created_at", "id")
        indexes = (models.Index(fields=["state", "lease_until"], name="evidence_job_state"),)

    def __str__(self) -> str:
        return f"{self.kind} {self.state}"
