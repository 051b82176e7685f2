"""A member to be predicted, in plain JSON with the unit in each field's name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.member_parts import (
    BarInput,
    ConcreteInput,
    FabricInput,
    HistoryInput,
    part_as_dict,
    read_shape,
    shape_as_dict,
)
from results.domain.mechanics.ranges import Fields
from results.domain.mechanics.shape import Shape
from results.domain.mechanics.shear import Stirrups


@dataclass(frozen=True)
class Member:
    """One member: outline, materials, fabric and what it saw before.

    Args:
        name: cell or specimen.
        shape: outline.
        concrete: its concrete.
        bars: at least one layer.
        stirrups: None without.
        fabric: None for a control.
        history: earlier moments.
    """

    name: str
    shape: Shape
    concrete: ConcreteInput
    bars: tuple[BarInput, ...]
    stirrups: Stirrups | None = None
    fabric: FabricInput | None = None
    history: HistoryInput = field(default_factory=HistoryInput)

    @classmethod
    def from_dict(cls, source: Mapping[str, Any], path: str = "member") -> Member:
        """From JSON; quantities are numbers in the unit of the name, or {value, unit}.

        Raises:
            ShapeError, RangeError: with argument, value and what would be allowed.
        """
        fields = Fields.of(source, path)
        bars = tuple(BarInput.read(part) for part in fields.parts("bars", at_most=20))
        if not bars:
            raise ShapeError(
                "section.no-bars", f"{path}.bars is empty; allowed is at least one layer of bars."
            )
        stirrups, fabric, history = (
            fields.part("stirrups"),
            fields.part("fabric"),
            fields.part("history"),
        )
        made = cls(
            fields.text("name", "member"),
            read_shape(fields.wanted_part("shape")),
            ConcreteInput.read(fields.wanted_part("concrete")),
            bars,
            None if stirrups is None else _stirrups(stirrups),
            None if fabric is None else FabricInput.read(fabric),
            HistoryInput() if history is None else HistoryInput.read(history),
        )
        fields.finish()
        return made

    def as_dict(self) -> dict[str, Any]:
        """The inverse of :meth:`from_dict`, with every default written out."""
        return {
            "name": self.name,
            "shape": shape_as_dict(self.shape),
            "concrete": part_as_dict(self.concrete),
            "bars": [part_as_dict(bar) for bar in self.bars],
            "stirrups": None if self.stirrups is None else asdict(self.stirrups),
            "fabric": None if self.fabric is None else part_as_dict(self.fabric),
            "history": part_as_dict(self.history),
        }

    def without_fabric(self) -> Member:
        """The unstrengthened twin, which sees the same history."""
        return replace(self, fabric=None)


def _stirrups(fields: Fields) -> Stirrups:
    made = Stirrups(
        fields.number("area_mm2", low=1.0, high=20_000.0),
        fields.number("spacing_mm", low=10.0, high=2000.0),
        fields.number("yield_mpa", low=100.0, high=1000.0),
    )
    fields.finish()
    return made
