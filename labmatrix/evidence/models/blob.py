"""Bytes as they came."""

from __future__ import annotations

from django.db import models


class Blob(models.Model):
    """A file's bytes, found by their SHA-256; the file itself is in the ``blobs`` storage."""

    sha256 = models.CharField(max_length=64, primary_key=True)
    size_bytes = models.BigIntegerField()
    stored_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.sha256

    @property
    def path(self) -> str:
        """Where the storage keeps it: two levels of folders, then the hash."""
        return f"{self.sha256[:2]}/{self.sha256[2:4]}/{self.sha256}"
