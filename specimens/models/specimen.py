"""What is cast, cut, cored or salvaged, and tested."""

from __future__ import annotations

from typing import Any

from django.db import models

from labmatrix.evidence.models import Subject
from labmatrix.matrix.domain.route import Route
from labmatrix.matrix.models import Cell


class Specimen(models.Model):
    """One specimen. Its code is printed on a label and never changes.

    ``route`` is the cell's route as it stood when the specimen was created; ``member`` is the
    geometry and the materials of the series, overwritten by what was measured on this one
    (``measured``), each name ending in its unit.
    """

    subject = models.OneToOneField(Subject, on_delete=models.PROTECT, related_name="specimen")
    code = models.CharField(max_length=60, unique=True)
    cell = models.ForeignKey(Cell, on_delete=models.PROTECT, related_name="specimens")
    number = models.PositiveSmallIntegerField()
    route = models.JSONField(default=dict)
    member = models.JSONField(default=dict)
    measured = models.JSONField(default=dict)
    created_at = models.DateTimeField()

    class Meta:
        ordering = ("code",)
        constraints = (
            models.UniqueConstraint(fields=["cell", "number"], name="specimens_number_in_cell"),
        )

    def __str__(self) -> str:
        return self.code

    @property
    def planned_route(self) -> Route:
        """The route as plain computation takes it."""
        return Route.from_dict(self.route) if self.route else Route(())

    @property
    def member_as_known(self) -> dict[str, Any]:
        """Specified values with measured ones in their place."""
        return {**self.member, **self.measured}


class Location(models.Model):
    """A place on a specimen that is tested once: a beam end, a disc on a slab."""

    subject = models.OneToOneField(Subject, on_delete=models.PROTECT, related_name="location")
    specimen = models.ForeignKey(Specimen, on_delete=models.PROTECT, related_name="locations")
    name = models.CharField(max_length=30)

    class Meta:
        ordering = ("specimen", "name")
        constraints = (
            models.UniqueConstraint(fields=["specimen", "name"], name="specimens_location_name"),
        )

    def __str__(self) -> str:
        return f"{self.specimen_id} {self.name}"
