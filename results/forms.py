"""What an upload may bring."""

from __future__ import annotations

import json
from typing import Any

from rest_framework import serializers

from labmatrix.kernel.clock import parse_instant
from labmatrix.kernel.errors import ShapeError

SETTING_SHAPE = (
    "A setting is said as {line!r}; allowed is its name, a colon and its value, each on a line of "
    "its own, such as ultimate share: 0.85."
)


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
    """Reduction settings from a text: JSON, or a line each, ``ultimate share: 0.85``.

    Raises:
        ShapeError: ``request.json`` or ``record.settings`` for anything else.
    """
    if not text.strip().startswith(("{", "[")):
        return dict(_setting(line) for line in text.splitlines() if line.strip())
    value = json_or_name(text, argument="settings")
    if not isinstance(value, dict):
        raise ShapeError("record.settings", "settings is a JSON object of names and values.")
    return value


def _setting(line: str) -> tuple[str, Any]:
    name, colon, value = line.partition(":")
    if not colon or not name.strip() or not value.strip():
        raise ShapeError("record.settings", SETTING_SHAPE.format(line=line.strip()[:80]))
    return "_".join(name.lower().split()), setting_typed(value)


def setting_typed(text: str) -> Any:
    """A setting as it was typed: several apart by semicolons, a number, nothing, or a word."""
    if ";" in text:
        return [setting_typed(part) for part in text.split(";") if part.strip()]
    stripped = text.strip()
    if stripped in ("none", "not given"):
        return None
    for kind in (int, float):
        try:
            return kind(stripped.replace(",", "."))
        except ValueError:
            continue
    return stripped


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
