"""The shapes of payloads, one class for each sort of thing that is said."""

from __future__ import annotations

import datetime as dt
import uuid
from typing import Annotated, Literal

from pydantic import Field, field_validator, model_validator

from specimens.domain.quantity import (
    Force,
    Frequency,
    Length,
    Moment,
    Payload,
    Quantity,
    measures,
    unit_field,
)

Text = Annotated[str, Field(min_length=1, max_length=2000)]
Name = Annotated[str, Field(min_length=1, max_length=120)]
Position = Annotated[str, Field(max_length=60)]
EARLIEST_YEAR = 1800  # older members than that are not of reinforced concrete


class Empty(Payload):
    """Nothing beyond time and person."""


class Origin(Payload):
    """How the specimen came to be; the date may be unknown."""

    how: Literal["cast", "cored", "salvaged"]
    date: str | None = Field(
        default=None,
        description="Day on which the concrete was placed, if it is known.",
        json_schema_extra={"format": "date"},
    )

    @field_validator("date")
    @classmethod
    def _is_day(cls, value: str | None) -> str | None:
        if value is None:
            return None
        day = dt.date.fromisoformat(value)
        if not EARLIEST_YEAR <= day.year < 2200:
            raise ValueError(f"the year {day.year} lies outside {EARLIEST_YEAR} to 2199")
        return day.isoformat()


class Cast(Payload):
    """Concrete placed, from which batch, around bars of which heat."""

    batch: Name
    bars: Name | None = Field(
        default=None, description="Heat or lot of the bars, where it is known."
    )


class Moved(Payload):
    """Carried to another place."""

    to: Name


class PreCracked(Payload):
    """Loaded until cracked, before strengthening."""

    moment: Moment | None = None
    load: Force | None = None

    @model_validator(mode="after")
    def _one_of_two(self) -> PreCracked:
        if (self.moment is None) == (self.load is None):
            raise ValueError("give either the moment or the load")
        return self


class Prepared(Payload):
    """Surface made ready: concrete surface profile 1 to 10 (ICRI 310.2R scale) and moisture."""

    method: Name
    profile: int = Field(ge=1, le=10, description="Concrete surface profile (CSP), 1 to 10.")
    moisture: Literal["dry", "saturated surface-dry", "wet"]


class Layer(Payload):
    """One layer of the strengthening system."""

    kind: Literal["base mortar", "fabric", "mortar"]
    ply: int | None = Field(default=None, ge=1, le=20)
    lot: Name
    thickness: Length | None = None
    orientation: float | None = Field(
        default=None, ge=-90, le=90, description="Degrees from the member's axis."
    )

    @model_validator(mode="after")
    def _fabric_has_ply(self) -> Layer:
        if self.kind == "fabric" and self.ply is None:
            raise ValueError("a fabric layer needs its ply number")
        return self


class Anchored(Payload):
    """An anchor set."""

    type: Name
    position: Name
    lot: Name | None = Field(default=None, description="Lot of the anchors, where it is known.")


class Point(Payload):
    """A hold point of the installation or of the test."""

    point: Name


class Cured(Payload):
    """Kept to harden."""

    method: Name


class Stay(Payload):
    """Into or out of a machine's position, for a run of it."""

    machine: Name = Field(description="Code on the machine's label.")
    position: Position = ""
    run: Position = Field(default="", description="Only when it is there to be exposed.")


class Loaded(Payload):
    """A sustained load applied, and what it is a share of."""

    load: Force
    reference: Name = Field(description="What the load is a share of.")


class AnyQuantity(Quantity):
    """A number in a unit of any quantity that is read by hand."""

    unit: str = unit_field("force", "length", "strain", "temperature", "humidity", "number")


class Read(Payload):
    """One reading taken by hand."""

    quantity: Literal[
        "load",
        "deflection",
        "settlement",
        "slip",
        "strain",
        "crack-width",
        "temperature",
        "humidity",
        "count",
    ]
    value: AnyQuantity

    @model_validator(mode="after")
    def _unit_fits(self) -> Read:
        wanted = {
            "load": "force",
            "temperature": "temperature",
            "humidity": "humidity",
            "strain": "strain",
            "count": "number",
        }.get(self.quantity, "length")
        measures(self.value, wanted)
        return self


class ReTensioned(Payload):
    """A sustained load brought back."""

    from_: Force = Field(alias="from")
    to: Force


class CyclingStarted(Payload):
    """A cycling run began."""

    machine: Name
    minimum: Force
    maximum: Force
    frequency: Frequency

    @model_validator(mode="after")
    def _in_order(self) -> CyclingStarted:
        if not self.minimum.base() < self.maximum.base():
            raise ValueError("the minimum load must lie below the maximum load")
        if self.frequency.base() <= 0:
            raise ValueError("the frequency must be above zero")
        return self


class Counted(Payload):
    """The load-cycle counter of the run as read: cycles since it started."""

    cycles: int = Field(
        ge=0, le=10**10, description="As the counter reads: since this run started."
    )


class Reason(Payload):
    """Why."""

    reason: Text


class Mode(Payload):
    """How it failed: letter in a named scheme, and words."""

    scheme: Name = Field(description="The scheme in which failure modes are lettered.")
    letter: str = Field(max_length=4)
    words: Text = Field(description="What was seen.")


End = Literal["failed in cycling", "failed in the frame", "broken", "run-out, then broken"]


class Broken(Payload):
    """The end of a test on the specimen or on one of its locations."""

    end: End
    mode: Mode
    location: Position = Field(
        default="", description="Only when one location was tested: the specimen lives on."
    )


class OpenedUp(Payload):
    """What was found inside after the test."""

    fabric: Text
    cover: Length
    bar_position: Text = Field(alias="bar position as found")


class Why(Payload):
    """Why."""

    why: Text


class Repaired(Payload):
    """Made whole again, how."""

    how: Text


class Photo(Payload):
    """A picture in the store."""

    blob: str = Field(pattern=r"^[0-9a-f]{64}$")
    caption: Annotated[str, Field(max_length=400)] = ""


class NoteText(Payload):
    """Words."""

    text: Text


class Incident(Payload):
    """Something went wrong at a machine. Reporting it does not stop the machine."""

    machine: Name
    words: Text


class Checklist(Payload):
    """A signed list."""

    name: Name
    answers: dict[str, str | bool] = Field(description="One line each: question: answer.")


class Corrected(Payload):
    """An earlier event is struck, why."""

    event: str
    why: Text

    @field_validator("event")
    @classmethod
    def _is_id(cls, value: str) -> str:
        return str(uuid.UUID(value))


class Judged(Payload):
    """A person's decision on a deviation."""

    deviation: str
    decision: Literal["accept", "exclude", "repeat"]
    why: Text

    @field_validator("deviation")
    @classmethod
    def _is_id(cls, value: str) -> str:
        return str(uuid.UUID(value))
