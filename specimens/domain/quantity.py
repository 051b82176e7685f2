"""Numbers with a unit, as payloads hold them."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, model_validator

from labmatrix.kernel.errors import UserError
from labmatrix.kernel.units import DIMENSIONS, dimension_of, to_base


def unit_field(*dimensions: str) -> Any:
    """A unit, with the units of some dimensions as examples, the base unit first."""
    return Field(examples=[unit for name in dimensions for unit in DIMENSIONS[name].allowed])


class Payload(BaseModel):
    """Base of all payloads: nothing unknown gets in, nothing changes later."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, strict=True)


class Quantity(Payload):
    """A number with its unit."""

    value: float = Field(allow_inf_nan=False, ge=-1e12, le=1e12)
    unit: str

    def base(self) -> float:
        """The value in the base unit of its dimension."""
        return to_base(self.value, self.unit)


def measures(quantity: Quantity, dimension: str) -> Quantity:
    """The quantity itself, if its unit measures this dimension.

    Raises:
        ValueError: it does not, or is unknown; the schema's own refusal.
    """
    try:
        found = dimension_of(quantity.unit).name
    except UserError as error:
        raise ValueError(error.message) from error
    if found != dimension:
        raise ValueError(f"{quantity.unit} measures {found}; a {dimension} is needed")
    return quantity


class Force(Quantity):
    """A force, base unit kN."""

    unit: str = unit_field("force")

    @model_validator(mode="after")
    def _is_force(self) -> Force:
        measures(self, "force")
        return self


class Length(Quantity):
    """A length, base unit mm."""

    unit: str = unit_field("length")

    @model_validator(mode="after")
    def _is_length(self) -> Length:
        measures(self, "length")
        return self


class Moment(Quantity):
    """A bending moment, base unit kN·m."""

    unit: str = unit_field("moment")

    @model_validator(mode="after")
    def _is_moment(self) -> Moment:
        measures(self, "moment")
        return self


class Frequency(Quantity):
    """A frequency, base unit Hz."""

    unit: str = unit_field("frequency")

    @model_validator(mode="after")
    def _is_frequency(self) -> Frequency:
        measures(self, "frequency")
        return self
