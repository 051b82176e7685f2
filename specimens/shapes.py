"""Shapes of requests and answers of this room's API, for reading and for the OpenAPI document."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from specimens.domain.catalogue import CATALOGUE
from specimens.services.specimen import COUNT_MAX

Shape = serializers.Serializer[Any]


class QuantityShape(Shape):
    """A number with its unit."""

    value = serializers.FloatField()
    unit = serializers.CharField()


class AgesShape(Shape):
    """Ages in days at an instant; null where the beginning is unknown or has not come."""

    at = serializers.DateTimeField()
    concrete = QuantityShape(allow_null=True)
    mortar = QuantityShape(allow_null=True)
    since_exposure = QuantityShape(allow_null=True, help_text="Since the end of exposure.")


class SpecimenRow(Shape):
    """A specimen as lists show it."""

    code = serializers.CharField()
    programme = serializers.CharField()
    series = serializers.CharField()
    cell = serializers.CharField()
    number = serializers.IntegerField()
    stage = serializers.CharField(help_text="Derived from the events.")
    end = serializers.CharField(allow_blank=True)
    ended_at = serializers.DateTimeField(allow_null=True)
    place = serializers.CharField(allow_blank=True)
    plies = serializers.IntegerField()
    load_cycles = serializers.IntegerField()
    ages = AgesShape()
    conflicts = serializers.IntegerField(help_text="Events that are kept without effect.")
    open_deviations = serializers.IntegerField()
    is_excluded = serializers.BooleanField()


class AmountShape(Shape):
    """How much was achieved, beside how much was planned."""

    what = serializers.CharField()
    value = serializers.FloatField()
    unit = serializers.CharField()
    planned = serializers.FloatField(allow_null=True)


class StageShape(Shape):
    """A stage of the route as planned, with what was achieved."""

    stage = serializers.CharField()
    settings = serializers.DictField()
    branch = serializers.IntegerField(help_text="0, or the number of a parallel branch.")
    state = serializers.ChoiceField(["planned", "under way", "done"])
    since = serializers.DateTimeField(allow_null=True)
    until = serializers.DateTimeField(allow_null=True)
    amounts = AmountShape(many=True)
    words = serializers.CharField(allow_blank=True)


class DeviationShape(Shape):
    """A broken tolerance with its decision, if there is one."""

    id = serializers.UUIDField()
    rule = serializers.CharField()
    words = serializers.CharField()
    decision = serializers.CharField(help_text="open, accept, exclude or repeat.")
    why = serializers.CharField(allow_blank=True)
    judged_by = serializers.CharField(allow_blank=True, help_text="Opaque id of a person.")
    judged_at = serializers.DateTimeField(allow_null=True)


class ConflictShape(Shape):
    """An event that is kept without effect, and the rule that it breaks."""

    event = serializers.UUIDField()
    rule = serializers.CharField()
    words = serializers.CharField()


class EventRow(Shape):
    """An event as it was admitted, with what became of it."""

    id = serializers.UUIDField()
    subject = serializers.CharField()
    kind = serializers.CharField()
    occurred_at = serializers.DateTimeField()
    received_at = serializers.DateTimeField()
    device_at = serializers.DateTimeField(allow_null=True)
    device = serializers.CharField(allow_blank=True)
    sequence = serializers.IntegerField(allow_null=True)
    skew_seconds = serializers.FloatField()
    payload = serializers.DictField()
    corrects = serializers.UUIDField(allow_null=True)
    actor = serializers.CharField(help_text="Opaque id of a person.")
    standing = serializers.ChoiceField(["stands", "struck", "in conflict"])
    struck_by = serializers.UUIDField(allow_null=True)
    conflict = ConflictShape(allow_null=True)
    is_skewed = serializers.BooleanField(help_text="The device's clock was off by more than 2 min.")


class LocationShape(Shape):
    """A place on a specimen that is tested once."""

    name = serializers.CharField()
    code = serializers.CharField()


class SpecimenDetail(SpecimenRow):
    """A specimen with everything that is known of it."""

    levels = serializers.DictField(help_text="The cell's level of every factor.")
    locations = LocationShape(many=True)
    member = serializers.DictField(help_text="As specified, overwritten by what was measured.")
    measured = serializers.DictField()
    route = StageShape(many=True)
    deviations = DeviationShape(many=True)
    conflicting = ConflictShape(many=True)
    events = EventRow(many=True, help_text="In the order of the fold, the newest 200.")
    events_count = serializers.IntegerField()


class SpecimenCreateRequest(Shape):
    """Create the next specimens of a cell."""

    series = serializers.CharField(max_length=20)
    cell = serializers.CharField(max_length=32)
    count = serializers.IntegerField(min_value=1, max_value=COUNT_MAX, default=1)
    locations = serializers.ListField(
        child=serializers.CharField(max_length=30), default=list, max_length=50
    )
    measured = serializers.DictField(default=dict)


class MeasuredRequest(Shape):
    """Put measured values in the place of specified ones."""

    measured = serializers.DictField()
    why = serializers.CharField(max_length=2000)


class EventSent(Shape):
    """One event as it is sent; ``/api/events/schema/`` has the shape of each payload."""

    id = serializers.UUIDField(help_text="Version 7 by preference; sent again, it is known again.")
    subject = serializers.CharField(max_length=60)
    kind = serializers.ChoiceField(sorted(CATALOGUE))
    occurred_at = serializers.DateTimeField()
    device_at = serializers.DateTimeField(required=False, allow_null=True)
    device = serializers.CharField(required=False, allow_blank=True, max_length=40)
    sequence = serializers.IntegerField(required=False, allow_null=True, min_value=0)
    payload = serializers.DictField(required=False)
    corrects = serializers.UUIDField(required=False, allow_null=True)


class ErrorShape(Shape):
    """Every error: a stable dotted code, a sentence, and the facts behind it."""

    code = serializers.CharField()
    message = serializers.CharField()
    facts = serializers.DictField()


class EventAnswer(Shape):
    """What became of one event."""

    id = serializers.CharField()
    answer = serializers.ChoiceField(["stored", "duplicate", "conflict", "rejected"])
    error = ErrorShape(required=False)
