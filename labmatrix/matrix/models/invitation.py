"""A door held open for one person."""

from __future__ import annotations

import uuid
from datetime import datetime

from django.conf import settings
from django.db import models

from labmatrix.matrix.models.programme import Programme
from labmatrix.web.domain.roles import Role


class Invitation(models.Model):
    """A link that lets one person in, once, for some days.

    Only the link's SHA-256 is kept. The address goes when the invitation is taken or withdrawn:
    then it has done its work.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    digest = models.CharField(max_length=64, unique=True)
    email = models.EmailField(blank=True)
    role = models.CharField(max_length=12, choices=[(str(r), str(r)) for r in Role])
    programme = models.ForeignKey(
        Programme, on_delete=models.PROTECT, null=True, blank=True, related_name="invitations"
    )
    inviter = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="invitations_made"
    )
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        on_delete=models.PROTECT,
        null=True,
        blank=True,
        related_name="invitations_taken",
        help_text="Who took it, or for someone who comes back, whom it is for.",
    )
    created_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    taken_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at", "id")

    def __str__(self) -> str:
        return f"invitation as {self.role}"

    def is_open(self, now: datetime) -> bool:
        """Whether the link still lets someone in."""
        return self.taken_at is None and self.withdrawn_at is None and self.expires_at > now
