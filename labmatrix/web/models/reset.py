"""How often a password was asked for."""

from __future__ import annotations

from django.db import models


class PasswordAsked(models.Model):
    """One asking for a new password: a digest of the address or of the place, and when.

    Kept for an hour, so that nobody's letter box is filled by a stranger.
    """

    key = models.CharField(max_length=64)
    asked_at = models.DateTimeField(db_index=True)

    class Meta:
        indexes = (models.Index(fields=["key", "asked_at"], name="web_password_asked"),)

    def __str__(self) -> str:
        return f"asked at {self.asked_at}"
