"""Stress–strain laws. Tension is positive; every law works element by element on any array.

Each law gives stress and tangent in one call, because the equilibrium iteration needs both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.ranges import number


class StressLaw(Protocol):
    """What the fibre integration asks of a material."""

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Stress and tangent modulus, MPa, of the same shape as the strain."""
        ...


class CompressionLaw(StressLaw, Protocol):
    """A concrete law with the compressive strain at which the section counts as crushed."""

    @property
    def ultimate_strain(self) -> float:
        """Largest compressive strain, mm/mm, as a positive number."""
        ...

    @property
    def carries_tension(self) -> bool:
        """Whether stress is ever above zero."""
        ...


def stress(law: StressLaw, strain: FloatArray) -> FloatArray:
    """Stress alone, MPa."""
    return law.stress_and_tangent(np.asarray(strain, dtype=np.float64))[0]


@dataclass(frozen=True)
class ParabolaRectangle:
    """Parabola to the peak strain, then constant (EN 1992-1-1, 3.1.7; exponent 2).

    Args:
        strength_mpa: peak compressive stress, MPa.
        peak_strain: where the plateau begins, mm/mm.
        ultimate_strain: where the section counts as crushed, mm/mm.
    """

    strength_mpa: float
    peak_strain: float = 0.002
    ultimate_strain: float = 0.0035

    def __post_init__(self) -> None:
        number("strength_mpa", self.strength_mpa, low=0.0, high=200.0, above=True, unit="MPa")
        number("peak_strain", self.peak_strain, low=0.0005, high=0.01)
        number("ultimate_strain", self.ultimate_strain, low=self.peak_strain, high=0.05)

    @property
    def carries_tension(self) -> bool:
        """Never."""
        return False

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See :class:`StressLaw`."""
        ratio = np.minimum(np.maximum(strain * (-1.0 / self.peak_strain), 0.0), 1.0)
        tangent = (2.0 * self.strength_mpa / self.peak_strain) * (1.0 - ratio)
        return -self.strength_mpa * ratio * (2.0 - ratio), tangent * (ratio > 0.0)


@dataclass(frozen=True)
class Parabola:
    """One parabola with its peak at 1.7 f'c/Ec, falling beyond it, zero from twice that strain.

    Source: ACI 440.2R worked examples.

    Args:
        strength_mpa: f'c, MPa.
        modulus_mpa: Ec, MPa.
        ultimate_strain: where the section counts as crushed, mm/mm.
    """

    strength_mpa: float
    modulus_mpa: float
    ultimate_strain: float = 0.003

    def __post_init__(self) -> None:
        number("strength_mpa", self.strength_mpa, low=0.0, high=200.0, above=True, unit="MPa")
        number("modulus_mpa", self.modulus_mpa, low=1000.0, high=100_000.0, unit="MPa")
        number("ultimate_strain", self.ultimate_strain, low=0.0005, high=0.05)

    @property
    def peak_strain(self) -> float:
        """ε'c = 1.7 f'c/Ec, mm/mm."""
        return 1.7 * self.strength_mpa / self.modulus_mpa

    @property
    def carries_tension(self) -> bool:
        """Never."""
        return False

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See :class:`StressLaw`."""
        ratio = np.minimum(np.maximum(strain * (-1.0 / self.peak_strain), 0.0), 2.0)
        tangent = (2.0 * self.strength_mpa / self.peak_strain) * (1.0 - ratio)
        inside = (ratio > 0.0) & (ratio < 2.0)
        return -self.strength_mpa * ratio * (2.0 - ratio), tangent * inside


@dataclass(frozen=True)
class LinearConcrete:
    """Linear in compression, nothing in tension: the cracked elastic section.

    Args:
        modulus_mpa: Ec, MPa.
        ultimate_strain: where the section counts as crushed, mm/mm.
    """

    modulus_mpa: float
    ultimate_strain: float = 0.003

    def __post_init__(self) -> None:
        number("modulus_mpa", self.modulus_mpa, low=1000.0, high=100_000.0, unit="MPa")
        number("ultimate_strain", self.ultimate_strain, low=0.0001, high=0.05)

    @property
    def carries_tension(self) -> bool:
        """Never."""
        return False

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See :class:`StressLaw`."""
        compressed = strain < 0.0
        return (
            np.where(compressed, self.modulus_mpa * strain, 0.0),
            np.where(compressed, self.modulus_mpa, 0.0),
        )


@dataclass(frozen=True)
class WithTension:
    """A compression law with tension added: linear to the strength, then softening to nothing.

    Args:
        compression: the law on the compression side.
        tensile_strength_mpa: fct, MPa.
        modulus_mpa: slope of the rising branch, MPa.
        end_strain: where the falling branch meets zero; equal to fct/Ec it is brittle.
    """

    compression: CompressionLaw
    tensile_strength_mpa: float
    modulus_mpa: float
    end_strain: float

    def __post_init__(self) -> None:
        number("tensile_strength_mpa", self.tensile_strength_mpa, low=0.0, high=20.0, unit="MPa")
        number("modulus_mpa", self.modulus_mpa, low=1000.0, high=100_000.0, unit="MPa")
        number("end_strain", self.end_strain, low=self.cracking_strain * (1 - 1e-12), high=0.05)

    @property
    def cracking_strain(self) -> float:
        """fct/Ec, mm/mm."""
        return self.tensile_strength_mpa / self.modulus_mpa

    @property
    def ultimate_strain(self) -> float:
        """Of the compression law."""
        return self.compression.ultimate_strain

    @property
    def carries_tension(self) -> bool:
        """Up to the end strain."""
        return True

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See :class:`StressLaw`."""
        value, tangent = self.compression.stress_and_tangent(strain)
        crack = self.cracking_strain
        rising = (strain >= 0.0) & (strain <= crack)
        value = value + np.where(rising, self.modulus_mpa * strain, 0.0)
        tangent = tangent + np.where(rising, self.modulus_mpa, 0.0)
        if self.end_strain <= crack:
            return value, tangent
        slope = -self.tensile_strength_mpa / (self.end_strain - crack)
        falling = (strain > crack) & (strain < self.end_strain)
        value = value + np.where(falling, self.tensile_strength_mpa + slope * (strain - crack), 0.0)
        return value, tangent + np.where(falling, slope, 0.0)


@dataclass(frozen=True)
class BarSteel:
    """Elastic, then plastic with a constant hardening slope, alike in tension and compression.

    Args:
        yield_mpa: fy, MPa.
        modulus_mpa: Es, MPa.
        hardening_mpa: slope beyond yield, MPa; 0 is elastic–perfectly plastic.
        rupture_strain: strain at which a bar breaks, mm/mm; infinite when not looked at.
    """

    yield_mpa: float
    modulus_mpa: float = 200_000.0
    hardening_mpa: float = 0.0
    rupture_strain: float = math.inf

    def __post_init__(self) -> None:
        number("yield_mpa", self.yield_mpa, low=100.0, high=1500.0, unit="MPa")
        number("modulus_mpa", self.modulus_mpa, low=50_000.0, high=250_000.0, unit="MPa")
        number("hardening_mpa", self.hardening_mpa, low=0.0, high=20_000.0, unit="MPa")
        if not math.isinf(self.rupture_strain):
            number("rupture_strain", self.rupture_strain, low=self.yield_strain, high=0.5)

    @property
    def yield_strain(self) -> float:
        """fy/Es, mm/mm."""
        return self.yield_mpa / self.modulus_mpa

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See :class:`StressLaw`."""
        elastic = np.clip(strain, -self.yield_strain, self.yield_strain)
        value = self.modulus_mpa * elastic + self.hardening_mpa * (strain - elastic)
        inside = np.abs(strain) < self.yield_strain
        return value, np.where(inside, self.modulus_mpa, self.hardening_mpa)


@dataclass(frozen=True)
class FabricLaw:
    """Fabric in its matrix, stress on the fabric area: linear, or two lines from a coupon.

    Below zero strain the fabric is slack. Without ``uncracked_mpa`` the law is one line through
    the origin with the cracked modulus (ACI 549.4R, recalled, not re-read).

    Args:
        modulus_mpa: cracked modulus Ef, MPa.
        uncracked_mpa: slope before the matrix cracks, MPa.
        transition_strain: strain where the two lines meet, mm/mm.
    """

    modulus_mpa: float
    uncracked_mpa: float | None = None
    transition_strain: float = 0.0

    def __post_init__(self) -> None:
        number("modulus_mpa", self.modulus_mpa, low=1000.0, high=800_000.0, unit="MPa")
        number("transition_strain", self.transition_strain, low=0.0, high=0.02)
        if self.uncracked_mpa is not None:
            number("uncracked_mpa", self.uncracked_mpa, low=self.modulus_mpa, high=5e6, unit="MPa")

    def stress_and_tangent(self, strain: FloatArray) -> tuple[FloatArray, FloatArray]:
        """See :class:`StressLaw`."""
        pulled = np.maximum(strain, 0.0)
        taut = strain > 0.0
        if self.uncracked_mpa is None:
            return self.modulus_mpa * pulled, np.where(taut, self.modulus_mpa, 0.0)
        first = np.minimum(pulled, self.transition_strain)
        value = self.uncracked_mpa * first + self.modulus_mpa * (pulled - first)
        slope = np.where(pulled < self.transition_strain, self.uncracked_mpa, self.modulus_mpa)
        return value, np.where(taut, slope, 0.0)
