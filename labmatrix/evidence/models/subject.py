"""What facts and records are about."""

from __future__ import annotations

from django.core.validators import RegexValidator
from django.db import models

from labmatrix.kernel.codes import CODE_PATTERN


class Subject(models.Model):
    """A specimen, a location on one, a machine, or a lot of material, by the code on its label.

    The rooms above hang their own rows on it; here it is only a code and the programme whose
    members may see it (empty for machines, which belong to the laboratory).
    """

    class Kind(models.TextChoices):
        """What sort of thing carries the code."""

        SPECIMEN = "specimen", "specimen"
        LOCATION = "location", "location"
        MACHINE = "machine", "machine"
        LOT = "lot", "lot of material"

    code = models.CharField(
        max_length=60,
        unique=True,
        validators=[RegexValidator(CODE_PATTERN, "A code is made of A-Z, 0-9 and hyphens.")],
    )
    kind = models.CharField(max_length=12, choices=Kind)
    programme_code = models.CharField(max_length=60, blank=True, db_index=True)

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.code
