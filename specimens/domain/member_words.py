"""What the names of a member's values stand for. Plain Python."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from specimens.domain.wording import Said, in_unit, payload_said

# Name in a series' member, which ends in its unit -> words and unit; "" for what has none.
MEMBER_WORDS: Mapping[str, tuple[str, str]] = MappingProxyType(
    {
        "b_mm": ("width", "mm"),
        "h_mm": ("height", "mm"),
        "d_mm": ("depth of the bars", "mm"),
        "flange_width_mm": ("width of the flange", "mm"),
        "flange_thickness_mm": ("thickness of the flange", "mm"),
        "web_width_mm": ("width of the web", "mm"),
        "span_mm": ("span", "mm"),
        "shear_span_mm": ("shear span", "mm"),
        "overhang_mm": ("overhang beyond the support", "mm"),
        "bar_count": ("number of bars", ""),
        "bar_diameter_mm": ("bar diameter", "mm"),
        "as_mm2": ("area of the bars", "mm²"),
        "fc_mpa": ("concrete strength", "MPa"),
        "ec_mpa": ("modulus of the concrete", "MPa"),
        "fr_mpa": ("modulus of rupture of the concrete", "MPa"),
        "fy_mpa": ("yield strength of the bars", "MPa"),
        "es_mpa": ("modulus of the bars", "MPa"),
        "bar_hardening_mpa": ("hardening modulus of the bars", "MPa"),
        "bar_rupture_strain": ("rupture strain of the bars", "mm/mm"),
        "top_d_mm": ("depth of the top bars", "mm"),
        "top_fy_mpa": ("yield strength of the top bars", "MPa"),
        "top_as_mm2": ("area of the top bars", "mm²"),
        "top_bar_count": ("number of top bars", ""),
        "top_bar_diameter_mm": ("diameter of the top bars", "mm"),
        "stirrup_area_mm2": ("area of all legs of a stirrup", "mm²"),
        "stirrup_spacing_mm": ("spacing of the stirrups", "mm"),
        "stirrup_fy_mpa": ("yield strength of the stirrups", "MPa"),
        "fabric": ("fabric", ""),
        "fibre": ("fibre of the fabric", ""),
        "fabric_law": ("law of the fabric", ""),
        "fabric_place": ("place of the fabric", ""),
        "fabric_width_mm": ("width of the fabric", "mm"),
        "fabric_depth_mm": ("depth of the fabric", "mm"),
        "fabric_side_height_mm": ("height of the fabric on the sides", "mm"),
        "fabric_area_mm2_per_ply": ("area of one ply", "mm²"),
        "ply_thickness_mm": ("equivalent thickness of one ply", "mm"),
        "ef_mpa": ("modulus of the fabric", "MPa"),
        "fabric_uncracked_mpa": ("uncracked modulus of the fabric", "MPa"),
        "fabric_transition_strain": ("transition strain of the fabric", "mm/mm"),
        "fabric_design_strain": ("design strain of the fabric", "mm/mm"),
        "fabric_ultimate_strain": ("ultimate strain of the fabric", "mm/mm"),
        "anchorage": ("anchorage of the fabric", ""),
        "anchorage_factor": ("factor of the anchorage", ""),
        "self_weight_kn": ("weight between the supports", "kN"),
        "unit_weight_kn_m3": ("unit weight", "kN/m³"),
        "spreader_kn": ("weight of the spreader", "kN"),
    }
)


def member_words(name: str) -> str:
    """``b_mm`` as a person says it; a name that nobody told stays as it is."""
    return MEMBER_WORDS.get(name, (name, ""))[0]


def member_label(name: str, value: object) -> str:
    """The words with the unit that a number is typed in, for the label of a field."""
    words, unit = MEMBER_WORDS.get(name, (name, ""))
    return f"{words} ({unit})" if unit and isinstance(value, int | float) else words


def member_said(member: Mapping[str, Any]) -> dict[str, Said]:
    """Each value of a member in words, by its name, those with words in their usual order."""
    order = {name: at for at, name in enumerate(MEMBER_WORDS)}
    found = {}
    for name in sorted(member, key=lambda one: (order.get(one, len(order)), one)):
        for said in payload_said({name: member[name]}):
            words, unit = MEMBER_WORDS.get(said.name, (said.name, ""))
            found[name] = in_unit(said, words, unit)
    return found
