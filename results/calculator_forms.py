"""The calculators' forms: one field for each number of the payload, named by its path."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from django import forms

from labmatrix.kernel.errors import UserError
from labmatrix.web.refused import refuse

_INDEX = re.compile(r"\[(\d+)\]")


@dataclass(frozen=True)
class Entry:
    """One field.

    Attributes:
        path: where its value stands in the payload, such as ``member.bars.0.depth_mm``.
        label: its words.
        unit: empty for a number without one.
        initial: what the empty form shows; a girder of the demo's kind.
        choices: allowed texts; empty for a number.
        needed: whether it must be filled.
    """

    path: str
    label: str
    unit: str = ""
    initial: str = ""
    choices: tuple[str, ...] = ()
    needed: bool = False

    @property
    def name(self) -> str:
        """As a form field."""
        return self.path.replace(".", "-")


_SECTION = (
    Entry("member.shape.kind", "Outline", initial="rectangle", choices=("rectangle", "tee")),
    Entry("member.shape.width_mm", "Width, rectangle", "mm", "200"),
    Entry("member.shape.height_mm", "Height", "mm", "300", needed=True),
    Entry("member.shape.flange_width_mm", "Width of the flange, T", "mm"),
    Entry("member.shape.flange_thickness_mm", "Thickness of the flange, T", "mm"),
    Entry("member.shape.web_width_mm", "Width of the web, T", "mm"),
    Entry("member.concrete.strength_mpa", "Concrete strength f'c", "MPa", "30", needed=True),
    Entry("member.concrete.modulus_mpa", "Modulus of the concrete, if known", "MPa"),
    Entry("member.bars.0.count", "Number of bars", "", "3"),
    Entry("member.bars.0.diameter_mm", "Bar diameter", "mm", "12"),
    Entry("member.bars.0.area_mm2", "Area of the bars, in place of the two", "mm²"),
    Entry("member.bars.0.depth_mm", "Depth of the bars from the top", "mm", "260", needed=True),
    Entry("member.bars.0.yield_mpa", "Yield strength", "MPa", "420", needed=True),
    Entry("member.stirrups.area_mm2", "Stirrups, area of all legs", "mm²"),
    Entry("member.stirrups.spacing_mm", "Stirrups, spacing", "mm"),
    Entry("member.stirrups.yield_mpa", "Stirrups, yield strength", "MPa"),
)
_FABRIC = (
    Entry("member.fabric.plies", "Plies of fabric, empty for none", "", "2"),
    Entry(
        "member.fabric.fibre",
        "Fibre",
        initial="pbo",
        choices=("ar-glass", "basalt", "aramid", "pbo", "carbon"),
    ),
    Entry("member.fabric.ply_thickness_mm", "Equivalent thickness of one ply", "mm", "0.05"),
    Entry("member.fabric.width_mm", "Width on the soffit, empty for all of it", "mm"),
    Entry("member.fabric.modulus_mpa", "Cracked modulus", "MPa", "128000"),
    Entry("member.fabric.design_strain", "Design strain", "mm/mm", "0.012"),
    Entry("member.fabric.anchorage_factor", "Anchorage: factor on the usable strain"),
    Entry("member.history.moment_at_installation_knm", "Moment when it was bonded", "kN·m"),
    Entry("member.history.largest_earlier_moment_knm", "Largest moment before", "kN·m"),
)
_RULES = (
    Entry(
        "options.block",
        "Compression block",
        initial="parabolic",
        choices=("parabolic", "rectangular"),
    ),
    Entry(
        "options.phi_edition",
        "Strength reduction of",
        initial="aci440-2r",
        choices=("aci440-2r", "aci318-19"),
    ),
    Entry("options.fabric_factor", "Factor on the fabric's part, ψf"),
)
_BEAM = (
    Entry("loading.kind", "Bending", initial="four-point", choices=("four-point", "three-point")),
    Entry("loading.span_mm", "Span", "mm", "2400", needed=True),
    Entry("loading.shear_span_mm", "Shear span, four-point", "mm", "900"),
    Entry("loading.spreader_kn", "Weight of the spreader", "kN", "0.35"),
)


_LEVEL = (
    Entry(
        "protocol.reference",
        "Levels are shares of the predicted ultimate of",
        initial="control",
        choices=("control", "own"),
    ),
    Entry("protocol.largest_share", "Largest load, share of it", "", "0.65", needed=True),
    Entry("protocol.least_share", "Least load, share of it", "", "0.1", needed=True),
    Entry("protocol.cycles", "Load cycles, 0 for a sustained load", "", "2000000"),
    Entry("protocol.frequency_hz", "Frequency", "Hz", "3"),
)
ENTRIES: Mapping[str, tuple[Entry, ...]] = MappingProxyType(
    {
        "flexure": (*_SECTION, *_FABRIC, *_RULES),
        "beam": (*_SECTION, *_FABRIC, *_BEAM, *_RULES),
        "protocol": (*_SECTION, *_FABRIC, *_BEAM, *_LEVEL, *_RULES),
    }
)
# Parts that are left out as a whole where their first number is empty.
_OPTIONAL_PARTS = {"fabric": "plies", "stirrups": "area_mm2"}


def _field(entry: Entry) -> forms.Field:
    label = f"{entry.label} ({entry.unit})" if entry.unit else entry.label
    if entry.choices:
        choices = [(name, name) for name in entry.choices]
        return forms.ChoiceField(label=label, choices=choices, initial=entry.initial)
    return forms.FloatField(
        label=label,
        initial=entry.initial or None,
        required=entry.needed,
        widget=forms.NumberInput(attrs={"step": "any"}),
    )


class CalculatorForm(forms.Form):
    """The payload of a calculator as fields."""

    def __init__(self, which: str, data: Mapping[str, Any] | None = None) -> None:
        super().__init__(data)
        self.entries = ENTRIES.get(which, ())
        for entry in self.entries:
            self.fields[entry.name] = _field(entry)

    def payload(self) -> dict[str, Any]:
        """What the fields say, nested as the calculator takes it; empty ones are left out."""
        nested: dict[str, Any] = {}
        for entry in self.entries:
            value = self.cleaned_data.get(entry.name)
            if value is None or value == "":
                continue
            *parents, last = entry.path.split(".")
            place = nested
            for parent in parents:
                place = place.setdefault(parent, {})
            place[last] = int(value) if _is_whole(value) else value
        member = nested.get("member", {})
        if "bars" in member:
            member["bars"] = [member["bars"][at] for at in sorted(member["bars"])]
        for part, key in _OPTIONAL_PARTS.items():
            if part in member and not member[part].get(key):
                del member[part]
        return nested

    def refuse(self, error: UserError) -> None:
        """Put a sentence beside the field that it is about, or above the form."""
        path = _INDEX.sub(r".\1", str(error.facts.get("argument", "")))
        names = {entry.path: entry.name for entry in self.entries}
        refuse(self, error, names.get(path))


def _is_whole(value: Any) -> bool:
    return isinstance(value, float) and value.is_integer()
