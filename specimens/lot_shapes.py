"""Shapes of requests and answers about lots of material and typed tests."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from specimens.domain.lot import SPECIFIED
from specimens.domain.typed_test import TESTS

Shape = serializers.Serializer[Any]


class LotRequest(Shape):
    """Add a lot, a batch or a heat."""

    code = serializers.CharField(max_length=60, help_text="A-Z, 0-9 and hyphens; frozen.")
    programme = serializers.CharField(max_length=60, help_text="Code of the programme.")
    kind = serializers.CharField(max_length=8, help_text=", ".join(SPECIFIED))
    title = serializers.CharField(max_length=160, help_text="Product or mix, in words.")
    made_on = serializers.DateField(
        default=None, allow_null=True, help_text="Mixed or delivered; ages count from it."
    )
    specified = serializers.DictField(default=dict, help_text="The unit in each name.")
    source = serializers.CharField(  # type: ignore[assignment]
        max_length=200, allow_blank=True, default="", help_text="Data sheet or design."
    )
    note = serializers.CharField(max_length=4000, allow_blank=True, default="")


class LotChange(Shape):
    """Change what is known of a lot; leave out what stays."""

    title = serializers.CharField(max_length=160, required=False)
    made_on = serializers.DateField(required=False, allow_null=True)
    specified = serializers.DictField(required=False)
    source = serializers.CharField(max_length=200, allow_blank=True, required=False)  # type: ignore[assignment]
    note = serializers.CharField(max_length=4000, allow_blank=True, required=False)
    why = serializers.CharField(max_length=2000)


class LotRow(Shape):
    """A lot as it is kept."""

    code = serializers.CharField()
    programme = serializers.CharField(source="programme.code")
    kind = serializers.CharField()
    title = serializers.CharField()
    made_on = serializers.DateField(allow_null=True)
    specified = serializers.DictField()
    source = serializers.CharField(allow_blank=True)  # type: ignore[assignment]
    note = serializers.CharField(allow_blank=True)


class TypedTestRequest(Shape):
    """Type what a test gave."""

    test = serializers.CharField(max_length=12, help_text=", ".join(TESTS))
    mark = serializers.CharField(max_length=40, help_text="On the piece.")
    tested_on = serializers.DateField()
    values = serializers.DictField(help_text="The unit in each name.")
    note = serializers.CharField(max_length=400, allow_blank=True, default="")


class StrikeRequest(Shape):
    """Strike what was typed wrong."""

    why = serializers.CharField(max_length=400, allow_blank=True)


class TypedTestRow(Shape):
    """A test as it was typed."""

    id = serializers.UUIDField()
    lot = serializers.CharField(source="lot.code")
    test = serializers.CharField()
    mark = serializers.CharField()
    tested_on = serializers.DateField()
    values = serializers.DictField()
    note = serializers.CharField(allow_blank=True)
    typed_at = serializers.DateTimeField()
    typed_by = serializers.CharField(help_text="Opaque id of a person.")
    is_struck = serializers.SerializerMethodField()

    def get_is_struck(self, row: Any) -> bool:
        """Whether a later entry took it out of every number."""
        return hasattr(row, "struck_by")
