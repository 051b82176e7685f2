"""What is measured of materials, and under which names numbers arrive."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from results.domain.mechanics.materials.concrete import cube_strength, cylinder_strength
from results.domain.mechanics.materials.mortar import (
    EN_206_RULE,
    cylinder_from_cube,
    half_prism_strength,
    prism_flexural_strength,
)
from specimens.domain.lot import CONCRETE, MORTAR
from specimens.domain.typed_test import BAR_TEST, COUPON, CUBE, CYLINDER, EN_206, PRISM


@dataclass(frozen=True)
class Property:
    """One property of a material: its symbol, words and base unit."""

    name: str
    symbol: str
    words: str
    unit: str


PROPERTIES: Mapping[str, Property] = MappingProxyType(
    {
        p.name: p
        for p in (
            Property("fc_mpa", "f'c", "cylinder strength", "MPa"),
            Property("cube_mpa", "fc,cube", "cube strength", "MPa"),
            Property("ec_mpa", "Ec", "modulus of the concrete", "MPa"),
            Property("fr_mpa", "fr", "modulus of rupture", "MPa"),
            Property("mortar_compressive_mpa", "fm", "compressive strength of the mortar", "MPa"),
            Property("mortar_flexural_mpa", "fm,t", "flexural strength of the mortar", "MPa"),
            Property("fy_mpa", "fy", "yield strength of the bars", "MPa"),
            Property("fu_mpa", "fu", "strength of the bars", "MPa"),
            Property("es_mpa", "Es", "modulus of the bars", "MPa"),
            Property("bar_strength_strain", "εu", "strain at the strength of the bars", "mm/mm"),
            Property("ef_mpa", "Ef", "cracked modulus of the fabric", "MPa"),
            Property("fabric_strength_mpa", "ffu", "strength of the fabric", "MPa"),
            Property("fabric_ultimate_strain", "εfu", "ultimate strain of the fabric", "mm/mm"),
            Property("fabric_design_strain", "εfd", "design strain of the fabric", "mm/mm"),
            Property("fabric_uncracked_mpa", "Ef,1", "modulus before the matrix cracks", "MPa"),
            Property("fabric_transition_strain", "εft", "strain at the transition", "mm/mm"),
            Property("ply_thickness_mm", "tf", "fibre area of a ply by its width", "mm"),
            Property("bar_diameter_mm", "db", "diameter of the bars", "mm"),
            Property("fibre", "", "fibre", ""),
        )
    }
)
# Metric of a reduced record -> property of the lot.
PROPERTY_OF_METRIC: Mapping[str, str] = MappingProxyType(
    {
        "coupon_cracked_modulus": "ef_mpa",
        "coupon_strength": "fabric_strength_mpa",
        "coupon_ultimate_strain": "fabric_ultimate_strain",
        "coupon_uncracked_modulus": "fabric_uncracked_mpa",
        "coupon_transition_strain": "fabric_transition_strain",
        "bar_yield_stress": "fy_mpa",
        "bar_strength": "fu_mpa",
        "bar_modulus": "es_mpa",
        "bar_strength_strain": "bar_strength_strain",
        "cylinder_strength": "fc_mpa",
        "cube_strength": "cube_mpa",
    }
)
MATERIAL_TESTS = ("coupon", "bar", "cylinder", "cube")


@dataclass(frozen=True)
class Value:
    """One number of one test: property, value in its base unit, and the rule in words."""

    name: str
    value: float
    rule: str


def typed_numbers(kind: str, test: str, values: Mapping[str, float | str]) -> tuple[Value, ...]:
    """The numbers of a typed test.

    Args:
        kind: of the material.
        test: a name of ``specimens.domain.typed_test.TESTS``.
        values: as they were kept, the unit in each name.

    Raises:
        RangeError: dimensions or loads that make no test of this kind.
    """
    return _NUMBERS[test](
        kind, {n: v for n, v in values.items() if isinstance(v, float | int)}, values
    )


def _cylinder(kind: str, n: Mapping[str, float], _: Mapping[str, float | str]) -> tuple[Value, ...]:
    strength = cylinder_strength(
        load_n=1e3 * n["load_kn"], diameter_mm=n["diameter_mm"], length_mm=n["length_mm"]
    )
    found = [Value("fc_mpa", strength, "4 F/(π d²) times the factor for L/d (ASTM C39, 8.2)")]
    if "ec_mpa" in n:
        found.append(Value("ec_mpa", n["ec_mpa"], "as typed (ASTM C469)"))
    return tuple(found)


def _cube(kind: str, n: Mapping[str, float], words: Mapping[str, float | str]) -> tuple[Value, ...]:
    strength = cube_strength(load_n=1e3 * n["load_kn"], side_mm=n["side_mm"])
    if kind == MORTAR:
        return (Value("mortar_compressive_mpa", strength, "F/a² of a cube"),)
    found = [Value("cube_mpa", strength, "F/a²")]
    if words.get("conversion") == EN_206:
        found.append(Value("fc_mpa", cylinder_from_cube(strength), f"from cubes, {EN_206_RULE}"))
    return tuple(found)


def _prism(kind: str, n: Mapping[str, float], _: Mapping[str, float | str]) -> tuple[Value, ...]:
    flexural = prism_flexural_strength(
        load_n=1e3 * n["flexural_load_kn"],
        width_mm=n["width_mm"],
        height_mm=n["height_mm"],
        span_mm=n["span_mm"],
    )
    found = [Value("mortar_flexural_mpa", flexural, "1.5 F l/(b d²) (EN 1015-11)")]
    halves = [
        half_prism_strength(load_n=1e3 * n[h], plate_mm=n["plate_mm"], width_mm=n["width_mm"])
        for h in ("half_1_load_kn", "half_2_load_kn")
        if h in n
    ]
    if halves:
        mean = sum(halves) / len(halves)
        rule = "F over plate times width, mean of the halves of a prism (EN 1015-11)"
        found.append(Value("mortar_compressive_mpa", mean, rule))
    return tuple(found)


def _as_typed(kind: str, n: Mapping[str, float], _: Mapping[str, float | str]) -> tuple[Value, ...]:
    return tuple(Value(name, v, "as typed") for name, v in n.items() if name in PROPERTIES)


_NUMBERS = {
    CYLINDER: _cylinder,
    CUBE: _cube,
    PRISM: _prism,
    BAR_TEST: _as_typed,
    COUPON: _as_typed,
}


def ages_count(kind: str) -> bool:
    """Whether the strength of a material depends on its age."""
    return kind in (CONCRETE, MORTAR)
