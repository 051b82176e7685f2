"""From what a series says of its members to what mechanics takes; missing things in a sentence.

Names are those of a series' member, each ending in its unit: ``b_mm``, ``h_mm``, ``d_mm``,
``fc_mpa``, ``fy_mpa``, ``bar_count`` with ``bar_diameter_mm`` (or ``as_mm2``), ``span_mm``,
``shear_span_mm``; with fabric also ``fibre``, ``fabric_area_mm2_per_ply`` (or
``ply_thickness_mm``), ``ef_mpa``, ``fabric_design_strain``. All others are optional.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from labmatrix.kernel.errors import ShapeError
from specimens.domain.member_words import member_words

MEASURED, SPECIFIED = "measured", "specified"
# Name in a series' member -> name in the part of the mechanics' member.
_CONCRETE = {"fc_mpa": "strength_mpa", "ec_mpa": "modulus_mpa", "fr_mpa": "rupture_mpa"}
_BARS = {
    "d_mm": "depth_mm",
    "fy_mpa": "yield_mpa",
    "as_mm2": "area_mm2",
    "bar_count": "count",
    "bar_diameter_mm": "diameter_mm",
    "es_mpa": "modulus_mpa",
    "bar_hardening_mpa": "hardening_mpa",
    "bar_rupture_strain": "rupture_strain",
}
_TOP_BARS = {
    "top_d_mm": "depth_mm",
    "top_fy_mpa": "yield_mpa",
    "top_as_mm2": "area_mm2",
    "top_bar_count": "count",
    "top_bar_diameter_mm": "diameter_mm",
    "es_mpa": "modulus_mpa",
}
_STIRRUPS = {
    "stirrup_area_mm2": "area_mm2",
    "stirrup_spacing_mm": "spacing_mm",
    "stirrup_fy_mpa": "yield_mpa",
}
_FABRIC = {
    "fibre": "fibre",
    "ef_mpa": "modulus_mpa",
    "fabric_design_strain": "design_strain",
    "fabric_ultimate_strain": "ultimate_strain",
    "fabric_place": "place",
    "fabric_width_mm": "width_mm",
    "fabric_side_height_mm": "side_height_mm",
    "ply_thickness_mm": "ply_thickness_mm",
    "anchorage": "anchorage",
    "anchorage_factor": "anchorage_factor",
    "fabric_uncracked_mpa": "uncracked_mpa",
    "fabric_transition_strain": "transition_strain",
}
# Fabric that is to follow the two lines of its coupons: ``fabric_law`` of a series' member.
TWO_LINES = "two lines"
_TWO_LINES = ("fabric_uncracked_mpa", "fabric_transition_strain")
_WANTED = ("h_mm", "d_mm", "fc_mpa", "fy_mpa", "span_mm")
_WANTED_FABRIC = ("fibre", "ef_mpa", "fabric_design_strain")


@dataclass(frozen=True)
class Known:
    """What is known of a member.

    Args:
        specified: as the series says, each name ending in its unit.
        measured: what was measured on this one, by the same names; it takes the place.
        materials: what its lots give by the same names, {value, origin, words, …} each: before
            what the series says, after what was measured on this one.
    """

    specified: Mapping[str, Any]
    measured: Mapping[str, Any]
    materials: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def __getitem__(self, name: str) -> Any:
        """The value in use, None where nothing is known."""
        value = self.measured.get(name)
        if value is None and self._of_lot(name) is not None:
            value = self.materials[name]["value"]
        return self.specified.get(name) if value is None else value

    def _of_lot(self, name: str) -> Mapping[str, Any] | None:
        """What the lots give; the two lines of coupons only where the member asks for them."""
        if name in _TWO_LINES and self.specified.get("fabric_law") != TWO_LINES:
            return None
        return self.materials.get(name)

    def origin(self, *names: str) -> str:
        """``measured`` where any of the names was measured, else ``specified``."""
        return MEASURED if any(self._is_measured(name) for name in names) else SPECIFIED

    def _is_measured(self, name: str) -> bool:
        if self.measured.get(name) is not None:
            return True
        told = self._of_lot(name)
        return told is not None and told["origin"] == MEASURED

    def used(self) -> dict[str, dict[str, Any]]:
        """Every value in use with where it came from: {name: {value, origin, words?}}."""
        of_lots = {name for name in self.materials if self._of_lot(name) is not None}
        names = sorted({*self.specified, *self.measured, *of_lots})
        found = {}
        for name in names:
            found[name] = {"value": self[name], "origin": self.origin(name)}
            if self.measured.get(name) is None and name in of_lots:
                found[name]["words"] = self.materials[name]["words"]
        return found

    def some(self, names: Mapping[str, str]) -> dict[str, Any]:
        """The values that are known, under the names on the right."""
        return {new: self[old] for old, new in names.items() if self[old] is not None}


def _check(known: Known, names: Sequence[str]) -> None:
    missing = [name for name in names if known[name] is None]
    if missing:
        listed = ", ".join(f"{name} ({member_words(name)})" for name in missing)
        raise ShapeError(
            "prediction.missing",
            f"The member does not say {listed}; a prediction needs it. Add it to the member of "
            "the series or to what was measured.",
            missing=missing,
        )


def _shape(known: Known) -> dict[str, Any]:
    if known["flange_width_mm"] is None:
        _check(known, ["b_mm"])
        return {"kind": "rectangle", "width_mm": known["b_mm"], "height_mm": known["h_mm"]}
    _check(known, ["flange_thickness_mm"])
    if known["web_width_mm"] is None:
        _check(known, ["b_mm"])
    return {
        "kind": "tee",
        "height_mm": known["h_mm"],
        "flange_width_mm": known["flange_width_mm"],
        "flange_thickness_mm": known["flange_thickness_mm"],
        "web_width_mm": known["b_mm"] if known["web_width_mm"] is None else known["web_width_mm"],
    }


def _bars(known: Known) -> list[dict[str, Any]]:
    if known["as_mm2"] is None:
        _check(known, ["bar_count", "bar_diameter_mm"])
    origin = known.origin(*_BARS)
    layers = [{**known.some(_BARS), "name": "tension bars", "origin": origin}]
    if known["top_d_mm"] is not None:
        top = {"yield_mpa": known["fy_mpa"], **known.some(_TOP_BARS)}
        layers.append({**top, "name": "top bars", "origin": known.origin(*_TOP_BARS)})
    return layers


def _fabric(known: Known, plies: int) -> dict[str, Any]:
    _check(known, _WANTED_FABRIC)
    part = {**known.some(_FABRIC), "plies": plies, "origin": known.origin(*_FABRIC)}
    width = known["fabric_width_mm"]
    if width is None:
        width = known["b_mm"] if known["web_width_mm"] is None else known["web_width_mm"]
    if "ply_thickness_mm" not in part:
        _check(known, ["fabric_area_mm2_per_ply"])
        part["ply_thickness_mm"] = known["fabric_area_mm2_per_ply"] / width
    depth, soffit = known["fabric_depth_mm"], known.specified.get("h_mm")
    # Specified at the soffit, it is at the soffit of the measured member, too.
    if depth is not None and depth != soffit:
        part["depth_mm"] = depth
    return part


def _unit_weight(known: Known, area_mm2: float) -> dict[str, float]:
    """Unit weight from the weight between supports, where the member says it."""
    weight = known["self_weight_kn"]
    if known["unit_weight_kn_m3"] is not None:
        return {"unit_weight_kn_per_m3": known["unit_weight_kn_m3"]}
    if weight is None:
        return {}
    return {"unit_weight_kn_per_m3": weight / (area_mm2 * known["span_mm"] * 1e-9)}


def _area(shape: Mapping[str, Any]) -> float:
    if shape["kind"] == "rectangle":
        return float(shape["width_mm"]) * float(shape["height_mm"])
    web = float(shape["height_mm"]) - float(shape["flange_thickness_mm"])
    flange = float(shape["flange_width_mm"]) * float(shape["flange_thickness_mm"])
    return flange + float(shape["web_width_mm"]) * web


def member_payload(known: Known, *, name: str, plies: int) -> dict[str, Any]:
    """The member as mechanics takes it, in JSON.

    Args:
        known: specified and measured values.
        name: cell or specimen.
        plies: of fabric, 0 for none.

    Raises:
        ShapeError: ``prediction.missing`` or ``prediction.number``, naming what is not there.
    """
    _check(known, _WANTED)
    _check_numbers(known)
    shape = _shape(known)
    member: dict[str, Any] = {
        "name": name,
        "shape": shape,
        "concrete": {
            **known.some(_CONCRETE),
            **_unit_weight(known, _area(shape)),
            "origin": known.origin(*_CONCRETE),
        },
        "bars": _bars(known),
    }
    if known["stirrup_area_mm2"] is not None:
        member["stirrups"] = known.some(_STIRRUPS)
    if plies > 0:
        member["fabric"] = _fabric(known, plies)
    return member


def _check_numbers(known: Known) -> None:
    for name in ("b_mm", "h_mm", "span_mm", "fabric_area_mm2_per_ply", "self_weight_kn"):
        value = known[name]
        if value is not None and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise ShapeError(
                "prediction.number", f"{name} is {value!r}; allowed is a number.", argument=name
            )


def loading_payload(known: Known) -> dict[str, Any]:
    """The test as mechanics takes it: four-point bending where a shear span is known.

    Args:
        known: specified and measured values.

    Raises:
        ShapeError: ``prediction.missing``.
    """
    _check(known, ["span_mm"])
    loading: dict[str, Any] = {"kind": "three-point", "span_mm": known["span_mm"]}
    if known["shear_span_mm"] is not None:
        loading |= {"kind": "four-point", "shear_span_mm": known["shear_span_mm"]}
    names = {"spreader_kn": "spreader_kn", "overhang_mm": "overhang_mm"}
    return loading | known.some(names)
