"""Lots of material and what is specified of them: names, units and ranges. Plain Python."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.kernel.text import check_storable

FABRIC, MORTAR, CONCRETE, BAR, ANCHOR = "fabric", "mortar", "concrete", "bar", "anchor"
KIND_WORDS: Mapping[str, str] = MappingProxyType(
    {
        FABRIC: "fabric, a lot",
        MORTAR: "matrix mortar, a lot",
        CONCRETE: "concrete, a batch",
        BAR: "reinforcing bars, a heat",
        ANCHOR: "anchors, a lot",
    }
)
KIND_UNKNOWN = "kind is {kind!r}; allowed is one of {allowed}."
NAME_UNKNOWN = "{name!r} was given for {words}; {kind} has {allowed}."
FIBRES = ("ar-glass", "basalt", "aramid", "pbo", "carbon")


@dataclass(frozen=True)
class Field:
    """One number or word that people give.

    Attributes:
        name: with its unit at the end.
        words: what it is.
        unit: base unit; empty for a word.
        low, high: allowed range of a number.
        choices: allowed words; empty for any.
        optional: whether it may be left out.
        note: what a form says beside it.
    """

    name: str
    words: str
    unit: str = ""
    low: float = 0.0
    high: float = math.inf
    choices: tuple[str, ...] = ()
    optional: bool = True
    note: str = ""

    @property
    def is_number(self) -> bool:
        """Whether it takes a number."""
        return bool(self.unit)

    def check(self, value: object) -> float | str:
        """The value as it is kept.

        Raises:
            RangeError: no number, or outside the range.
            ShapeError: ``input.choice`` or ``input.text``.
        """
        if self.is_number:
            return self._number(value)
        check_storable(value, argument=self.name)
        if not isinstance(value, str) or not 0 < len(value.strip()) <= 200:
            raise ShapeError(
                "input.text", f"{self.name} is {str(value)[:80]!r}; allowed is a text up to 200."
            )
        text = value.strip()
        if self.choices and text not in self.choices:
            raise ShapeError(
                "input.choice",
                f"{self.name} is {text!r}; allowed is one of {', '.join(self.choices)}.",
            )
        return text

    def _number(self, value: object) -> float:
        unit = "" if self.unit == "1" else f" {self.unit}"
        allowed = f"a number from {self.low:g} to {self.high:g}{unit}"
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise RangeError(self.name, str(value)[:80], allowed)
        if not self.low <= value <= self.high:
            raise RangeError(self.name, str(value)[:80], allowed)
        return float(value)


SPECIFIED: Mapping[str, tuple[Field, ...]] = MappingProxyType(
    {
        FABRIC: (
            Field("fibre", "fibre", choices=FIBRES),
            Field("direction", "direction of the load-carrying yarns", note="Such as warp."),
            Field("roll_width_mm", "width of the roll", "mm", 10.0, 10_000.0),
            Field(
                "ply_thickness_mm", "fibre area of a ply by its width", "mm", 0.005, 5.0,
                note="mm² of fibre for each mm of width: the equivalent thickness.",
            ),
            Field("ef_mpa", "cracked modulus", "MPa", 1000.0, 800_000.0),
            Field("fabric_design_strain", "design strain", "mm/mm", 0.0005, 0.05),
            Field("fabric_ultimate_strain", "ultimate strain", "mm/mm", 0.0005, 0.1),
            Field("fabric_strength_mpa", "strength", "MPa", 10.0, 10_000.0),
        ),
        MORTAR: (
            Field("mortar_compressive_mpa", "compressive strength", "MPa", 1.0, 200.0),
            Field("mortar_flexural_mpa", "flexural strength", "MPa", 0.1, 50.0),
        ),
        CONCRETE: (
            Field("fc_mpa", "cylinder strength", "MPa", 5.0, 200.0),
            Field("ec_mpa", "modulus", "MPa", 5000.0, 80_000.0),
            Field("fr_mpa", "modulus of rupture", "MPa", 0.1, 20.0),
            Field("aggregate_mm", "largest aggregate", "mm", 1.0, 100.0),
            Field("slump_mm", "slump", "mm", 0.0, 400.0),
        ),
        BAR: (
            Field("bar_diameter_mm", "diameter", "mm", 3.0, 60.0),
            Field("fy_mpa", "yield strength", "MPa", 100.0, 1500.0),
            Field("fu_mpa", "strength", "MPa", 100.0, 2500.0),
            Field("es_mpa", "modulus", "MPa", 50_000.0, 250_000.0),
            Field("grade", "grade"),
        ),
        ANCHOR: (
            Field("anchor_type", "type"),
            Field("anchor_strength_kn", "strength of one anchor", "kN", 0.1, 10_000.0),
        ),
    }
)  # fmt: skip


def check_kind(kind: object) -> str:
    """One of the kinds of material.

    Raises:
        ShapeError: ``lot.kind``.
    """
    if not isinstance(kind, str) or kind not in SPECIFIED:
        raise ShapeError(
            "lot.kind", KIND_UNKNOWN.format(kind=kind, allowed=", ".join(SPECIFIED)), kind=str(kind)
        )
    return kind


def check_fields(
    fields: tuple[Field, ...], given: object, *, words: str, kind: str
) -> dict[str, float | str]:
    """Names and values as they are kept, in the order of the fields.

    Args:
        fields: what there may be.
        given: names and values.
        words: what they are of, for a sentence.
        kind: of which kind, for a sentence.

    Raises:
        ShapeError: ``input.unknown`` for a name that is none, ``input.missing``, or a value that
            does not fit.
        RangeError: a number outside its range.
    """
    if not isinstance(given, Mapping):
        raise ShapeError("input.shape", f"{words} are {str(given)[:80]!r}; allowed is an object.")
    known = {field.name: field for field in fields}
    for name in given:
        if name not in known:
            raise ShapeError(
                "input.unknown",
                NAME_UNKNOWN.format(
                    name=str(name)[:60], words=words, kind=kind, allowed=", ".join(known)
                ),
                name=str(name)[:60],
            )
    kept: dict[str, float | str] = {}
    for name, field in known.items():
        value: Any = given.get(name)
        if value is None or value == "":
            if not field.optional:
                unit = f" in {field.unit}" if field.unit else ""
                raise ShapeError(
                    "input.missing",
                    f"{name} ({field.words}) is missing for {words} of {kind}; wanted is a value"
                    f"{unit}.",
                    name=name,
                )
            continue
        kept[name] = field.check(value)
    return kept


def check_specified(kind: str, given: object) -> dict[str, float | str]:
    """Specified properties of a lot.

    Raises:
        ShapeError, RangeError: as ``check_fields``.
    """
    return check_fields(SPECIFIED[check_kind(kind)], given, words="specified properties", kind=kind)
