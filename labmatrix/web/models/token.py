"""Keys with which scripts sign in."""

from __future__ import annotations

from django.db import models

from labmatrix.web.models.person import Person


class ApiToken(models.Model):
    """A hashed, expiring key; the key itself is shown once and never stored."""

    digest = models.CharField(max_length=64, primary_key=True)
    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="tokens")
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"token of {self.person_id}"
