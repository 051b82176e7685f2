"""What is uncertain about a section: factors on its nominal values."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from results.domain.mechanics.arrays import FloatArray, Numeric
from results.domain.mechanics.block_case import BlockCase
from results.domain.mechanics.blocks import beta1_rectangular
from results.domain.mechanics.pivot import StrainLimit
from results.domain.mechanics.ranges import choice, number
from results.domain.mechanics.section import Section

Distribution = Literal["normal", "lognormal"]
DISTRIBUTIONS: tuple[Distribution, ...] = ("normal", "lognormal")
VARIABLES: tuple[str, ...] = (
    "concrete_strength",
    "bar_yield",
    "bar_area",
    "bar_depth",
    "width",
    "fabric_modulus",
    "fabric_area",
    "fabric_strain",
    "model",
    "shear_model",
)
# A factor never falls below this, so that no strength turns negative.
LEAST_FACTOR = 0.05


@dataclass(frozen=True)
class Variable:
    """A factor on a nominal value.

    Args:
        name: one of :data:`VARIABLES`; ``model`` multiplies the bending strength and
            ``shear_model`` the shear strength.
        cov: coefficient of variation.
        mean: mean of the factor (bias).
        distribution: normal or lognormal.
    """

    name: str
    cov: float
    mean: float = 1.0
    distribution: Distribution = "lognormal"

    def __post_init__(self) -> None:
        choice("variable", self.name, VARIABLES)
        choice(f"{self.name}.distribution", self.distribution, DISTRIBUTIONS)
        number(f"{self.name}.cov", self.cov, low=0.0, high=0.5)
        number(f"{self.name}.mean", self.mean, low=0.2, high=5.0)

    def factors(self, deviates: FloatArray) -> FloatArray:
        """Factors from standard normal deviates, of the same shape."""
        if self.distribution == "normal":
            return np.maximum(self.mean * (1.0 + self.cov * deviates), LEAST_FACTOR)
        spread = math.sqrt(math.log1p(self.cov**2))
        return np.asarray(np.exp(math.log(self.mean) - 0.5 * spread**2 + spread * deviates))


# Orders of magnitude of well-kept laboratory members: common practice, no source.
PRACTICE_VARIABLES: tuple[Variable, ...] = (
    Variable("concrete_strength", 0.08),
    Variable("bar_yield", 0.04),
    Variable("bar_depth", 0.02, distribution="normal"),
    Variable("fabric_modulus", 0.06),
    Variable("fabric_strain", 0.10),
    Variable("model", 0.05),
    Variable("shear_model", 0.15),
)


def vary(case: BlockCase, section: Section, factors: Mapping[str, Numeric]) -> BlockCase:
    """The case with its nominal values multiplied; a name that is missing counts as 1.

    Ec follows √f'c; all bar layers and all fabric layers share their factors.

    Args:
        case: of the section, all numbers nominal.
        section: for ε_bi at the ends of fabric layers.
        factors: by name, numbers or arrays of shape (n,).
    """

    def of(name: str) -> Numeric:
        return factors.get(name, 1.0)

    ratio = np.clip(np.asarray(of("concrete_strength")), 5.0 / case.strength, 200.0 / case.strength)
    strength = case.strength * ratio
    limits = tuple(
        StrainLimit(
            limit.depth,
            layer.usable_strain * of("fabric_strain") + float(section.bond.at(layer.bottom_mm)),
        )
        for limit, layer in zip(case.limits, section.fabrics, strict=True)
    )
    return replace(
        case,
        strength=strength,
        modulus=case.modulus * np.sqrt(ratio),
        beta1=beta1_rectangular(strength) if case.block == "rectangular" else case.beta1,
        strips=tuple(replace(part, width=part.width * of("width")) for part in case.strips),
        bars=tuple(
            replace(
                part,
                area=part.area * of("bar_area"),
                depth=part.depth * of("bar_depth"),
                yield_stress=part.yield_stress * of("bar_yield"),
            )
            for part in case.bars
        ),
        fabrics=tuple(
            replace(
                part,
                area=part.area * of("fabric_area"),
                modulus=part.modulus * of("fabric_modulus"),
            )
            for part in case.fabrics
        ),
        limits=limits,
    )
