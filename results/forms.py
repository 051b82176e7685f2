"""What an upload may bring."""

from __future__ import annotations

import json
from typing import Any

from rest_framework import serializers

from labmatrix.kernel.clock import parse_instant
from labmatrix.kernel.errors import ShapeError


def json_or_name(text: str, *, argument: str) -> Any:
    """JSON when the text begins like JSON, else the text itself (the name of a saved map).

    Raises:
        ShapeError: ``request.json`` for JSON that does not parse.
    """
    stripped = text.strip()
    if not stripped.startswith(("[", "{")):
        return stripped
    try:
        return json.loads(stripped, parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise ShapeError(
            "request.json", f"{argument} begins like JSON and is not: {error}.", argument=argument
        ) from error


def _no_constant(word: str) -> Any:
    raise ValueError(f"{word} is not a number in JSON")


def settings_of(text: str) -> dict[str, Any]:
    """Reduction settings from a form's text; empty text gives none.

    Raises:
        ShapeError: ``request.json`` or ``record.settings`` for anything but a JSON object.
    """
    if not text.strip():
        return {}
    value = json_or_name(text, argument="settings")
    if not isinstance(value, dict):
        raise ShapeError("record.settings", "settings is a JSON object of names and values.")
    return value


class RecordUpload(serializers.Serializer[object]):
    """POST /api/records/ (multipart); files come as one or more ``file`` parts."""

    subject = serializers.CharField(max_length=60)
    test = serializers.CharField(max_length=20)
    channels = serializers.CharField(
        help_text="Name of a saved channel map, or a JSON list of entries."
    )
    settings = serializers.CharField(required=False, allow_blank=True, default="")
    cycle_offset = serializers.IntegerField(required=False, default=0)
    measured_at = serializers.CharField(required=False, allow_blank=True, default="")

    def taken(self) -> dict[str, Any]:
        """Keyword arguments of ``record_receive`` from validated data."""
        data = self.validated_data
        measured = data["measured_at"].strip()
        return {
            "subject_code": data["subject"],
            "test": data["test"],
            "channels": json_or_name(data["channels"], argument="channels"),
            "settings": settings_of(data["settings"]),
            "cycle_offset": data["cycle_offset"],
            "measured_at": parse_instant(measured, argument="measured_at") if measured else None,
        }
