"""What the events of a specimen mean, kept for lists and pages; can be thrown away."""

from __future__ import annotations

import uuid
from typing import ClassVar

from django.db import models

from specimens.domain.kinds import EVENT_OF_STAGE, STAGE_MARKS, kind_words
from specimens.models.specimen import Specimen


class SpecimenState(models.Model):
    """The fold's outcome, written in the event's transaction, rebuilt by command."""

    specimen = models.OneToOneField(
        Specimen, on_delete=models.CASCADE, primary_key=True, related_name="state"
    )
    stage = models.CharField(max_length=40, db_index=True)
    end = models.CharField(max_length=24, blank=True, db_index=True)
    ended_at = models.DateTimeField(null=True)
    place = models.CharField(max_length=200, blank=True)
    plies = models.PositiveSmallIntegerField(default=0)
    load_cycles = models.BigIntegerField(default=0)
    concrete_began_at = models.DateTimeField(null=True)
    mortar_at = models.DateTimeField(null=True)
    exposure_ended_at = models.DateTimeField(null=True)
    last_at = models.DateTimeField(null=True)
    next_kind = models.CharField(
        max_length=20, blank=True, help_text="Stage that comes next or goes on; empty at the end."
    )
    next_is_under_way = models.BooleanField(default=False)
    ready_at = models.DateTimeField(null=True, help_text="Before this it would be too early.")
    due_at = models.DateTimeField(null=True, help_text="When the plan has it done or ended.")
    late_at = models.DateTimeField(null=True, help_text="After this a tolerance is broken.")
    conflict_count = models.PositiveSmallIntegerField(default=0)
    open_deviation_count = models.PositiveSmallIntegerField(default=0)
    is_excluded = models.BooleanField(default=False)
    folded = models.JSONField(default=dict)
    fold_version = models.PositiveSmallIntegerField()
    last_entry = models.BigIntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.specimen_id}: {self.stage}"

    @property
    def next_event(self) -> str:
        """The kind of event that the next step of the route is logged by; empty to choose."""
        return EVENT_OF_STAGE.get(self.next_kind, ("", ""))[self.next_is_under_way]

    @property
    def next_event_words(self) -> str:
        """The same in words."""
        return kind_words(self.next_event) if self.next_event else ""

    @property
    def mark(self) -> str:
        """The stage whose drawn mark stands for this one."""
        return STAGE_MARKS.get(self.stage, self.stage)


class Deviation(models.Model):
    """A broken tolerance or rule, with the decision of a person once there is one."""

    class Decision(models.TextChoices):
        """What a person decided."""

        OPEN = "", "open"
        ACCEPT = "accept", "accepted"
        EXCLUDE = "exclude", "excluded"
        REPEAT = "repeat", "to be repeated"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    specimen = models.ForeignKey(Specimen, on_delete=models.CASCADE, related_name="deviations")
    rule = models.CharField(max_length=40)
    words = models.TextField()
    at = models.CharField(max_length=60)
    decision = models.CharField(max_length=8, blank=True, choices=Decision, default=Decision.OPEN)
    why = models.TextField(blank=True)
    judged_by = models.CharField(max_length=36, blank=True)
    judged_at = models.DateTimeField(null=True)

    class Meta:
        ordering: ClassVar = ("specimen", "rule", "at")

    def __str__(self) -> str:
        return f"{self.rule}: {self.decision or 'open'}"
