"""A part of a programme with one specimen type and one set of factors."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Upper

from labmatrix.matrix.domain.code import DEFAULT_TEMPLATE, SERIES_CODE_MAX
from labmatrix.matrix.models.programme import Programme, code_validator


class Series(models.Model):
    """One specimen type, one set of factors, one set of responses."""

    class SpecimenType(models.TextChoices):
        """What is made and tested."""

        BEAM = "beam", "beam"
        BOND = "bond", "bond beam"
        COUPON = "coupon", "coupon"
        SLAB = "slab", "pull-off slab"
        ANCHORED_BEAM = "anchored beam", "anchored beam"

    programme = models.ForeignKey(Programme, on_delete=models.PROTECT, related_name="series")
    code = models.CharField(
        max_length=SERIES_CODE_MAX,
        unique=True,
        validators=[code_validator],
        help_text="Unique in the laboratory: it begins the code on every specimen's label.",
    )
    title = models.CharField(max_length=160)
    specimen_type = models.CharField(max_length=16, choices=SpecimenType)
    code_template = models.CharField(max_length=60, default=DEFAULT_TEMPLATE)
    route = models.JSONField(
        default=dict, blank=True, help_text="The template of routes, see domain.route."
    )
    member = models.JSONField(
        default=dict,
        blank=True,
        help_text="Nominal geometry and materials as specified, the unit in each name.",
    )
    responses = models.JSONField(
        default=list, blank=True, help_text="Names of the metrics that the series is for."
    )

    class Meta:
        ordering = ("code",)
        verbose_name_plural = "series"
        constraints = (
            models.CheckConstraint(
                condition=models.Q(code=Upper("code")) & ~models.Q(code=""),
                name="matrix_series_code",
            ),
            models.CheckConstraint(
                condition=models.Q(
                    specimen_type__in=["beam", "bond", "coupon", "slab", "anchored beam"]
                ),
                name="matrix_series_specimen_type",
            ),
        )

    def __str__(self) -> str:
        return self.code
