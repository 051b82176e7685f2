"""Which workers live."""

from __future__ import annotations

from django.db import models


class Heartbeat(models.Model):
    """When a worker of a queue was last heard; written by the worker itself while it lives."""

    queue = models.CharField(max_length=40, primary_key=True)
    seen_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.queue}, last heard {self.seen_at}"
