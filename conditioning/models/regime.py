"""Exposure protocols."""

from __future__ import annotations

from django.core.validators import RegexValidator
from django.db import models

from labmatrix.kernel.codes import CODE_PATTERN


class Regime(models.Model):
    """How specimens are conditioned: the words of the protocol and its settings.

    Each name in ``settings`` ends in its unit, such as ``wet_h`` or ``low_degc``.
    """

    class Kind(models.TextChoices):
        """What the specimens go through."""

        LABORATORY = "laboratory", "laboratory"
        WET_DRY = "wet-dry", "wet–dry"
        FREEZE_THAW = "freeze-thaw", "freeze–thaw"
        OTHER = "other", "other"

    code = models.CharField(
        max_length=40,
        unique=True,
        validators=[RegexValidator(CODE_PATTERN, "A code is made of A-Z, 0-9 and hyphens.")],
    )
    title = models.CharField(max_length=160)
    text = models.TextField(blank=True)
    kind = models.CharField(max_length=12, choices=Kind)
    settings = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ("code",)
        constraints = (
            models.CheckConstraint(
                condition=models.Q(kind__in=["laboratory", "wet-dry", "freeze-thaw", "other"]),
                name="conditioning_regime_kind",
            ),
        )

    def __str__(self) -> str:
        return self.code
