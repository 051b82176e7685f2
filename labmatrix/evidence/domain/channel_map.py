"""The channel map: which column of a record measures what, with unit, sign, scale, zero and place.

For every channel::

    value_base = sign · scale · (convert(raw, unit → base) − zero_base)

``zero_base`` is 0, a constant (stated in the column's unit, converted), or the mean of the first
n numbers of the column in base units. The gauge factor names the setting of the strain bridge: the
logger has applied it, so it is kept for provenance and uncertainty and changes no value here.
"""

from __future__ import annotations

import math
from collections import Counter
from types import MappingProxyType
from typing import Any, Literal, Self

from pydantic import (
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import DIMENSIONS, dimension_of, unit_spelled

Quantity = Literal[
    "time",
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
# What each quantity is measured in.
DIMENSION_OF_QUANTITY = MappingProxyType(
    {
        "time": "time",
        "load": "force",
        "deflection": "length",
        "settlement": "length",
        "slip": "length",
        "strain": "strain",
        "crack-width": "length",
        "temperature": "temperature",
        "humidity": "humidity",
        "count": "number",
    }
)
QUANTITIES: tuple[str, ...] = tuple(DIMENSION_OF_QUANTITY)
# A temperature less its first reading would be a difference, another kind of number.
_NEVER_ZEROED = ("temperature", "humidity")


def base_unit(quantity: str) -> str:
    """The unit in which a channel of this quantity is given (kN, mm, mm/mm, s, °C, % RH, 1)."""
    return DIMENSIONS[DIMENSION_OF_QUANTITY[quantity]].base


class FirstReadings(BaseModel):
    """A zero taken from the record: the mean of its first ``first`` numbers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    first: int = Field(ge=1, le=1_000_000)


class ChannelEntry(BaseModel):
    """One column of a record: what it measures and how it becomes a number in base units.

    Attributes:
        column: name of the column; white space at its ends does not matter.
        quantity: one of ``QUANTITIES``.
        unit: unit of the column, any of the quantity's dimension.
        sign: 1 or −1; −1 turns a column that counts the other way.
        scale: factor above 0 that corrects the column.
        zero: 0, a constant in the column's unit, or the first reading or readings.
        place: where on the specimen ("mid-span", "left support").
        sensor: serial of the sensor.
        gauge_factor: of a strain gauge, as set in the logger.
        file: name of the file of a record with several; None where only one has the column.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)

    column: str = Field(min_length=1, max_length=200)
    quantity: Quantity
    unit: str = Field(max_length=40)
    sign: Literal[1, -1] = 1
    scale: float = 1.0
    zero: float | FirstReadings = 0.0
    place: str | None = Field(default=None, min_length=1, max_length=100)
    sensor: str | None = Field(default=None, min_length=1, max_length=100)
    gauge_factor: float | None = None
    file: str | None = Field(default=None, min_length=1, max_length=255)

    @field_validator("zero", mode="before")
    @classmethod
    def _first_is_one_reading(cls, value: object) -> object:
        return {"first": 1} if value == "first" else value

    @field_validator("unit")
    @classmethod
    def _unit_as_we_spell_it(cls, value: str) -> str:
        return unit_spelled(value)

    @field_validator("scale")
    @classmethod
    def _scale_above_zero(cls, value: float) -> float:
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"scale is {value:g}; allowed is a number above 0 (sign turns it)")
        return value

    @field_validator("gauge_factor")
    @classmethod
    def _gauge_factor_above_zero(cls, value: float | None) -> float | None:
        if value is not None and not (math.isfinite(value) and value > 0):
            raise ValueError(f"gauge_factor is {value:g}; allowed is a number above 0")
        return value

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        self._refuse_unit_of_another_kind()
        if self.gauge_factor is not None and self.quantity != "strain":
            raise ValueError(f"gauge_factor belongs to strain, and this column is {self.quantity}")
        if isinstance(self.zero, float) and not math.isfinite(self.zero):
            raise ValueError("zero is not finite; allowed is a number, first or {first: n}")
        if self.zero != 0.0 and self.quantity in _NEVER_ZEROED:
            raise ValueError(f"{self.quantity} has a fixed zero; allowed is zero 0")
        return self

    def _refuse_unit_of_another_kind(self) -> None:
        wanted = DIMENSION_OF_QUANTITY[self.quantity]
        allowed = ", ".join(DIMENSIONS[wanted].allowed)
        try:
            found = dimension_of(self.unit).name
        except ShapeError:
            raise ValueError(
                f"the unit {self.unit!r} is not known; {self.quantity} allows {allowed}"
            ) from None
        # Metres and millimetres per metre are strain too; hours measure time and durations.
        if self.unit not in (*DIMENSIONS[wanted].allowed, DIMENSIONS[wanted].base):
            raise ValueError(
                f"{self.unit} measures {found}; {self.quantity} is a {wanted} and allows {allowed}"
            )

    @property
    def base(self) -> str:
        """Base unit of the quantity."""
        return base_unit(self.quantity)

    def canonical(self) -> dict[str, Any]:
        """Every setting of the entry, defaults included, JSON-ready."""
        zero = self.zero if isinstance(self.zero, float) else {"first": self.zero.first}
        return self.model_dump() | {"zero": zero}


class ChannelMap(BaseModel):
    """The entries of one record, or of one rig's kind of record."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    entries: tuple[ChannelEntry, ...] = Field(min_length=1, max_length=1000)

    @model_validator(mode="after")
    def _told_apart(self) -> Self:
        columns = Counter((entry.file, entry.column) for entry in self.entries)
        for (_, column), count in columns.items():
            if count > 1:
                raise ValueError(f"column {column!r} is mapped {count} times; allowed is once")
        roles = Counter((entry.file, entry.quantity, entry.place) for entry in self.entries)
        for (_, quantity, place), count in roles.items():
            if count > 1:
                where = f"at {place!r}" if place else "without a place"
                raise ValueError(
                    f"{count} columns are {quantity} {where}; allowed is one, so give each a "
                    "place of its own"
                )
        return self

    @classmethod
    def from_data(cls, data: object) -> ChannelMap:
        """A channel map from what an API or a form sends: a list of entries, or {entries: […]}.

        Raises:
            ShapeError: ``channels.malformed``, with a sentence for each entry that is wrong.
        """
        shape = {"entries": data} if isinstance(data, list | tuple) else data
        try:
            return cls.model_validate(shape)
        except ValidationError as error:
            errors = error.errors(include_url=False)
            # Where every entry is wrong, "no entry" is no problem of its own.
            told = [e for e in errors if e["type"] != "too_short"] or errors
            found = [_sentence(item) for item in told]
            problems = list(dict.fromkeys(found))
            raise ShapeError(
                "channels.malformed",
                "The channel map cannot be used: " + "; ".join(problems) + ".",
                problems=problems,
            ) from error

    def canonical(self) -> dict[str, Any]:
        """All settings for hashing; the order in which entries were written does not matter."""
        entries = [entry.canonical() for entry in self.entries]
        return {"entries": sorted(entries, key=lambda e: (e["file"] or "", e["column"]))}


def _sentence(error: Any) -> str:
    """One problem as pydantic found it, in words."""
    place = list(error["loc"])
    if place[:1] == ["entries"]:
        place = place[1:]
    where = f"entry {place[0] + 1}" if place and isinstance(place[0], int) else ""
    names = [str(part) for part in place if isinstance(part, str) and part.islower()]
    field = names[0] if names else ""
    prefix = ", ".join(part for part in (where, field) if part)
    text = _words(error, field)
    return f"{prefix}: {text}" if prefix else text


def _words(error: Any, field: str) -> str:
    if error["type"] == "value_error":
        return str(error["ctx"]["error"])
    if error["type"] == "missing":
        return f"{field} is missing" if field else "a part is missing"
    if error["type"] == "extra_forbidden":
        allowed = ", ".join(ChannelEntry.model_fields)
        return f"{field} is not known; allowed are {allowed}"
    if error["type"] == "too_short":
        return "it maps no column; allowed is at least one"
    given = error["input"]
    shown = repr(given) if isinstance(given, str | int | float | bool) else type(given).__name__
    if field == "quantity":
        return f"{shown} is not a quantity; allowed are {', '.join(QUANTITIES)}"
    if field == "zero":
        return f"{shown} is no zero; allowed is a number, first or {{first: n}}"
    message = str(error["msg"])
    return f"{shown} does not fit: {message[0].lower()}{message[1:]}"
