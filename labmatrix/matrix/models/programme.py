"""One sponsored research programme."""

from __future__ import annotations

from django.core.validators import RegexValidator
from django.db import models
from django.db.models.functions import Upper

from labmatrix.kernel.codes import CODE_PATTERN
from labmatrix.matrix.domain.code import PROGRAMME_CODE_MAX

code_validator = RegexValidator(
    CODE_PATTERN, "A code is made of A-Z, 0-9 and hyphens.", code="code-shape"
)


class Programme(models.Model):
    """A sponsor's question, with the people and the series that answer it."""

    code = models.CharField(max_length=PROGRAMME_CODE_MAX, unique=True, validators=[code_validator])
    title = models.CharField(max_length=160)
    sponsor_question = models.TextField(blank=True)
    starts_on = models.DateField(null=True, blank=True)
    ends_on = models.DateField(null=True, blank=True)
    is_invented = models.BooleanField(
        default=False, help_text="Its data are invented; pages and exports say so."
    )

    class Meta:
        ordering = ("code",)
        constraints = (
            models.CheckConstraint(
                condition=models.Q(code=Upper("code")) & ~models.Q(code=""),
                name="matrix_programme_code",
            ),
            models.CheckConstraint(
                condition=models.Q(starts_on__isnull=True)
                | models.Q(ends_on__isnull=True)
                | models.Q(ends_on__gte=models.F("starts_on")),
                name="matrix_programme_dates",
            ),
        )

    def __str__(self) -> str:
        return self.code
