"""Shear strength, so that an unwanted shear failure is seen before casting."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from results.domain.mechanics.ranges import choice, number

ShearEdition = Literal["aci318-14", "aci318-19"]
SHEAR_EDITIONS: tuple[ShearEdition, ...] = ("aci318-14", "aci318-19")
SHEAR_SOURCES: dict[ShearEdition, str] = {
    "aci318-14": "ACI 318-14, 22.5.5.1 (recalled, not re-read)",
    "aci318-19": "ACI 318-19, Table 22.5.5.1 (recalled, not re-read)",
}


@dataclass(frozen=True)
class Stirrups:
    """Vertical stirrups.

    Args:
        area_mm2: of all legs at one place.
        spacing_mm: along the member.
        yield_mpa: fyt; at most 420 MPa is used.
    """

    area_mm2: float
    spacing_mm: float
    yield_mpa: float

    def __post_init__(self) -> None:
        number("stirrups.area_mm2", self.area_mm2, low=1.0, high=20_000.0, unit="mm²")
        number("stirrups.spacing_mm", self.spacing_mm, low=10.0, high=2000.0, unit="mm")
        number("stirrups.yield_mpa", self.yield_mpa, low=100.0, high=1000.0, unit="MPa")

    @property
    def strength_mpa(self) -> float:
        """fyt as used."""
        return min(self.yield_mpa, 420.0)


@dataclass(frozen=True)
class ShearStrength:
    """Nominal shear strength, N, and what it is made of."""

    concrete_n: float
    stirrups_n: float
    edition: ShearEdition
    size_factor: float

    @property
    def nominal_n(self) -> float:
        """Vn = Vc + Vs."""
        return self.concrete_n + self.stirrups_n


def shear_strength(
    *,
    strength_mpa: float,
    web_mm: float,
    depth_mm: float,
    bar_area_mm2: float,
    stirrups: Stirrups | None = None,
    edition: ShearEdition = "aci318-19",
) -> ShearStrength:
    """Vn of a member without axial force, normal-weight concrete.

    Vc = 0.17 √f'c bw d; in ACI 318-19 with less than the least stirrups
    0.66 λs ρw^⅓ √f'c bw d with λs = √(2/(1 + 0.004 d)) ≤ 1. Vs = Av fyt d/s, at most
    0.66 √f'c bw d. √f'c is at most 8.3 MPa.

    Args:
        strength_mpa: f'c, MPa.
        web_mm: bw.
        depth_mm: d.
        bar_area_mm2: As of the tension bars.
        stirrups: None without.
        edition: which edition.

    Raises:
        RangeError: an argument outside its range.
    """
    choice("edition", edition, SHEAR_EDITIONS)
    number("strength_mpa", strength_mpa, low=5.0, high=200.0, unit="MPa")
    number("web_mm", web_mm, low=20.0, high=5000.0, unit="mm")
    number("depth_mm", depth_mm, low=20.0, high=5000.0, unit="mm")
    number("bar_area_mm2", bar_area_mm2, low=0.0, high=1e6, above=True, unit="mm²")
    root = min(math.sqrt(strength_mpa), 8.3)
    area = web_mm * depth_mm
    concrete, size = 0.17 * root * area, 1.0
    if edition == "aci318-19" and not _least(stirrups, root, web_mm):
        size = min(math.sqrt(2.0 / (1.0 + 0.004 * depth_mm)), 1.0)
        concrete = 0.66 * size * (bar_area_mm2 / area) ** (1.0 / 3.0) * root * area
    steel = 0.0
    if stirrups is not None:
        steel = stirrups.area_mm2 * stirrups.strength_mpa * depth_mm / stirrups.spacing_mm
    return ShearStrength(concrete, min(steel, 0.66 * root * area), edition, size)


def _least(stirrups: Stirrups | None, root: float, web_mm: float) -> bool:
    """Whether there are at least the stirrups of ACI 318-19, 9.6.3.4."""
    if stirrups is None:
        return False
    least = max(0.062 * root, 0.35) * web_mm * stirrups.spacing_mm / stirrups.strength_mpa
    return stirrups.area_mm2 >= least
