"""One combination of levels with what is planned for it."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Upper

from labmatrix.matrix.domain.code import CELL_CODE_MAX
from labmatrix.matrix.domain.design import REPLICATES_MAX
from labmatrix.matrix.models.factor import Factor
from labmatrix.matrix.models.level import Level
from labmatrix.matrix.models.programme import code_validator
from labmatrix.matrix.models.series import Series


class Cell(models.Model):
    """One combination of levels; its code never changes, whatever else does."""

    series = models.ForeignKey(Series, on_delete=models.PROTECT, related_name="cells")
    code = models.CharField(max_length=CELL_CODE_MAX, validators=[code_validator])
    replicates = models.PositiveSmallIntegerField(
        help_text="Specimens planned; 0 for a cell that is given up."
    )
    levels = models.ManyToManyField(Level, through="CellLevel", related_name="cells")
    combination = models.CharField(
        max_length=64, editable=False, help_text="Key of the levels: one cell for each combination."
    )
    gain_control = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="gains"
    )
    conditioning_control = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="conditioned"
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("series", "id")
        constraints = (
            models.UniqueConstraint(fields=["series", "code"], name="matrix_cell_code"),
            models.UniqueConstraint(
                fields=["series", "combination"], name="matrix_cell_combination"
            ),
            models.CheckConstraint(
                condition=models.Q(code=Upper("code")) & ~models.Q(code=""),
                name="matrix_cell_code_shape",
            ),
            models.CheckConstraint(
                condition=models.Q(replicates__lte=REPLICATES_MAX), name="matrix_cell_replicates"
            ),
            models.CheckConstraint(
                condition=models.Q(gain_control__isnull=True)
                | ~models.Q(gain_control=models.F("id")),
                name="matrix_cell_own_gain_control",
            ),
            models.CheckConstraint(
                condition=models.Q(conditioning_control__isnull=True)
                | ~models.Q(conditioning_control=models.F("id")),
                name="matrix_cell_own_cond_control",
            ),
        )

    def __str__(self) -> str:
        return self.code


class CellLevel(models.Model):
    """The level of one factor in one cell; each factor once."""

    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="cell_levels")
    factor = models.ForeignKey(Factor, on_delete=models.PROTECT, related_name="+")
    level = models.ForeignKey(Level, on_delete=models.PROTECT, related_name="cell_levels")

    class Meta:
        ordering = ("cell", "factor__position", "id")
        constraints = (
            models.UniqueConstraint(fields=["cell", "factor"], name="matrix_cell_level_factor"),
        )

    def __str__(self) -> str:
        return f"{self.factor_id}: {self.level_id}"
