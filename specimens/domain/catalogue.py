"""What can be logged: each kind of event with the shape of its payload."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from pydantic import ValidationError

from labmatrix.kernel.errors import ShapeError
from specimens.domain.payloads import (
    Anchored,
    Broken,
    Cast,
    Checklist,
    Corrected,
    Counted,
    Cured,
    CyclingStarted,
    Empty,
    Incident,
    Judged,
    Layer,
    Loaded,
    Moved,
    NoteText,
    OpenedUp,
    Origin,
    Photo,
    Point,
    PreCracked,
    Prepared,
    Read,
    Reason,
    Repaired,
    ReTensioned,
    Stay,
    Why,
)
from specimens.domain.quantity import Payload

CATALOGUE: Mapping[str, type[Payload]] = MappingProxyType(
    {
        "origin": Origin,
        "cast": Cast,
        "demoulded": Empty,
        "moved": Moved,
        "pre-cracked": PreCracked,
        "prepared": Prepared,
        "layer": Layer,
        "anchored": Anchored,
        "held": Point,
        "released": Point,
        "cured": Cured,
        "entered": Stay,
        "left": Stay,
        "loaded": Loaded,
        "read": Read,
        "re-tensioned": ReTensioned,
        "cycling-started": CyclingStarted,
        "counted": Counted,
        "cycling-stopped": Reason,
        "broken": Broken,
        "opened-up": OpenedUp,
        "repaired": Repaired,
        "lost": Why,
        "photo": Photo,
        "note": NoteText,
        "incident": Incident,
        "checklist": Checklist,
        "corrected": Corrected,
        "judged": Judged,
    }
)
MACHINE_KINDS = frozenset({"moved", "note", "photo", "incident", "checklist", "corrected"})
# Words and readings about the place itself; what changes the specimen is logged on the specimen.
# What is said of a delivery, batch or heat; its tests are typed or come in as records.
LOT_KINDS = frozenset({"moved", "note", "photo", "checklist", "corrected"})
LOCATION_KINDS = frozenset({"read", "note", "photo", "incident", "checklist", "corrected"})

MISSING = "it is missing"


def payload_parse(kind: str, payload: object) -> Payload:
    """The payload of an event, checked against its kind's schema.

    Raises:
        ShapeError: ``event.kind-unknown`` or ``event.payload``, naming each field that is off.
    """
    shape = CATALOGUE.get(kind)
    if shape is None:
        raise ShapeError(
            "event.kind-unknown",
            f"The event kind is {kind!r}; known are {', '.join(CATALOGUE)}.",
            kind=kind,
        )
    try:
        return shape.model_validate(payload)
    except ValidationError as error:
        fields = [
            {
                "field": ".".join(str(part) for part in e["loc"]),
                "words": MISSING if e["type"] == "missing" else e["msg"],
            }
            for e in error.errors(include_url=False, include_input=False)
        ]
        words = "; ".join(f"{f['field'] or 'payload'}: {f['words']}" for f in fields)
        raise ShapeError(
            "event.payload",
            f"The payload of {kind!r} does not fit its schema: {words}.",
            kind=kind,
            fields=fields,
        ) from error


def payload_plain(payload: Payload) -> dict[str, Any]:
    """A payload as JSON-ready data, with the names that it came under."""
    return payload.model_dump(mode="json", by_alias=True, exclude_none=True)
