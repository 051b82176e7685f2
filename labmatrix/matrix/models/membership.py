"""Who takes part in a programme."""

from __future__ import annotations

from django.conf import settings
from django.db import models

from labmatrix.matrix.models.programme import Programme
from labmatrix.web.domain.roles import Role


class Membership(models.Model):
    """A person's part in one programme; without one the programme is not there for them."""

    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="memberships")
    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="memberships"
    )
    role = models.CharField(max_length=12, choices=[(str(r), str(r)) for r in Role])

    class Meta:
        ordering = ("programme", "person")
        constraints = (
            models.UniqueConstraint(
                fields=["programme", "person"], name="matrix_membership_person"
            ),
            models.CheckConstraint(
                condition=models.Q(role__in=[str(r) for r in Role]), name="matrix_membership_role"
            ),
        )

    def __str__(self) -> str:
        return f"{self.person_id} as {self.role}"
