"""Shapes of requests and answers of this room's API."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from labmatrix.evidence.domain.channel_map import QUANTITIES

Shape = serializers.Serializer[Any]


class MachineRequest(Shape):
    """Add a machine."""

    code = serializers.CharField(max_length=60, help_text="A-Z, 0-9 and hyphens; frozen.")
    name = serializers.CharField(max_length=120)
    kind = serializers.CharField(max_length=8, help_text="chamber, rig, frame, logger or other.")
    positions = serializers.IntegerField(min_value=0, max_value=2000, default=0)
    note = serializers.CharField(max_length=4000, allow_blank=True, default="")
    dynamic_performance = serializers.JSONField(
        default=None,
        allow_null=True,
        help_text="List of {amplitude_mm, frequency_hz, load_kn?} as measured of a cycling rig.",
    )


class MachineChange(Shape):
    """Change what is said of a machine; leave out what stays."""

    name = serializers.CharField(max_length=120, required=False)
    kind = serializers.CharField(max_length=8, required=False)
    positions = serializers.IntegerField(min_value=0, max_value=2000, required=False)
    note = serializers.CharField(max_length=4000, allow_blank=True, required=False)
    dynamic_performance = serializers.JSONField(required=False, allow_null=True)
    why = serializers.CharField(max_length=2000)


class MachineRow(Shape):
    """A machine as lists show it."""

    code = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.CharField()
    positions = serializers.IntegerField()
    note = serializers.CharField(allow_blank=True)
    dynamic_performance = serializers.JSONField(allow_null=True)


class OccupantShape(Shape):
    """A specimen in a machine; the code is null for a programme that is not the person's."""

    specimen = serializers.CharField(allow_null=True)
    position = serializers.CharField(allow_blank=True)
    run = serializers.CharField(allow_blank=True)
    since = serializers.DateTimeField()
    is_cycling = serializers.BooleanField()


class MachineDetail(MachineRow):
    """A machine with what stands in it now."""

    occupancy = OccupantShape(many=True)


class SensorRequest(Shape):
    """Add a sensor."""

    serial = serializers.CharField(max_length=100)
    quantity = serializers.CharField(max_length=20, help_text=", ".join(QUANTITIES))
    unit = serializers.CharField(max_length=20)
    range_low = serializers.FloatField(default=None, allow_null=True, help_text="In its unit.")
    range_high = serializers.FloatField(default=None, allow_null=True, help_text="In its unit.")
    note = serializers.CharField(max_length=4000, allow_blank=True, default="")


class CalibrationRequest(Shape):
    """Enter a calibration; it is never edited, a later entry for the same instant replaces it."""

    calibrated_at = serializers.CharField(help_text="ISO 8601 with an offset.")
    factor = serializers.FloatField(help_text="Multiplies every reading.")
    zero = serializers.FloatField(default=0.0, help_text="Reading with nothing on it.")
    u_relative = serializers.FloatField(default=0.0, help_text="Relative standard uncertainty.")
    u_absolute = serializers.FloatField(default=0.0, help_text="In the sensor's unit.")
    certificate = serializers.CharField(max_length=120, allow_blank=True, default="")
    due_on = serializers.DateField(default=None, allow_null=True)


class CalibrationRow(Shape):
    """A calibration as it was entered."""

    sensor = serializers.CharField()
    calibrated_at = serializers.DateTimeField()
    factor = serializers.FloatField()
    zero = serializers.FloatField()
    u_relative = serializers.FloatField()
    u_absolute = serializers.FloatField()
    certificate = serializers.CharField(allow_blank=True)
    due_on = serializers.DateField(allow_null=True)
    recorded_at = serializers.DateTimeField()
    recorded_by = serializers.CharField(help_text="Opaque id of a person.")


class SensorRow(Shape):
    """A sensor with its last calibration."""

    serial = serializers.CharField()
    quantity = serializers.CharField()
    unit = serializers.CharField()
    range_low = serializers.FloatField(allow_null=True)
    range_high = serializers.FloatField(allow_null=True)
    note = serializers.CharField(allow_blank=True)
    calibrated_at = serializers.DateTimeField(allow_null=True)
    factor = serializers.FloatField(allow_null=True)
    due_on = serializers.DateField(allow_null=True)


class RegimeRequest(Shape):
    """Add an exposure protocol."""

    code = serializers.CharField(max_length=40)
    title = serializers.CharField(max_length=160)
    kind = serializers.CharField(
        max_length=12, help_text="laboratory, wet-dry, freeze-thaw or other."
    )
    text = serializers.CharField(max_length=8000, allow_blank=True, default="")
    settings = serializers.DictField(default=dict)


class RegimeChange(Shape):
    """Change an exposure protocol; leave out what stays."""

    title = serializers.CharField(max_length=160, required=False)
    kind = serializers.CharField(max_length=12, required=False)
    text = serializers.CharField(max_length=8000, allow_blank=True, required=False)
    settings = serializers.DictField(required=False)
    why = serializers.CharField(max_length=2000)


class RegimeRow(Shape):
    """An exposure protocol."""

    code = serializers.CharField()
    title = serializers.CharField()
    kind = serializers.CharField()
    text = serializers.CharField(allow_blank=True)
    settings = serializers.DictField()
