"""One value of a factor."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower, Upper

from labmatrix.matrix.domain.code import LEVEL_CODE_MAX
from labmatrix.matrix.models.factor import Factor


class Level(models.Model):
    """One value: its text, for a numeric factor also its number, and its part of a code."""

    factor = models.ForeignKey(Factor, on_delete=models.PROTECT, related_name="levels")
    value = models.CharField(max_length=60)
    number = models.FloatField(null=True, blank=True, help_text="In the factor's unit.")
    code = models.CharField(max_length=LEVEL_CODE_MAX)
    label = models.CharField(max_length=80, blank=True)
    is_control = models.BooleanField(
        default=False,
        help_text="The level that means none: no plies, no exposure, no sustained load.",
    )
    position = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ("factor", "position", "id")
        constraints = (
            models.UniqueConstraint("factor", Lower("value"), name="matrix_level_value"),
            models.UniqueConstraint(fields=["factor", "code"], name="matrix_level_code"),
            models.UniqueConstraint(
                fields=["factor"],
                condition=models.Q(is_control=True),
                name="matrix_level_one_control",
            ),
            models.CheckConstraint(
                condition=models.Q(code=Upper("code"))
                & ~models.Q(code="")
                & ~models.Q(code__contains="-"),
                name="matrix_level_code_shape",
            ),
            models.CheckConstraint(condition=~models.Q(value=""), name="matrix_level_valued"),
        )

    def __str__(self) -> str:
        return self.shown

    @property
    def shown(self) -> str:
        """What pages show: the label, else the value."""
        return self.label or self.value

    @property
    def setting(self) -> str | float:
        """The value that a route takes: the number of a numeric factor, else the name."""
        return self.value if self.number is None else self.number
