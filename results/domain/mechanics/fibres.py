"""Fibre integration of a section: axial force and moment under many strain planes at once.

Concrete that carries no tension is cut into layers between the top face and the neutral axis of
each state, so that the layers follow the compression zone; concrete with tension is cut over the
whole height. Every layer has two Gauss points.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.laws import CompressionLaw, StressLaw
from results.domain.mechanics.ranges import number
from results.domain.mechanics.section import Section
from results.domain.mechanics.shape import Strip

_FINER = 5


@dataclass(frozen=True)
class Sums:
    """What a strain plane gives, arrays of shape (n,).

    Attributes:
        force: N.
        moment: about the top face, N·mm.
        stiffness: Σ Et·A, N.
        first: Σ Et·A·y, N·mm.
    """

    force: FloatArray
    moment: FloatArray
    stiffness: FloatArray
    first: FloatArray

    def __add__(self, other: Sums) -> Sums:
        return Sums(
            self.force + other.force,
            self.moment + other.moment,
            self.stiffness + other.stiffness,
            self.first + other.first,
        )


class _Part(Protocol):
    def sums(self, c: FloatArray, curvature: FloatArray) -> Sums: ...


@dataclass(frozen=True)
class _Fixed:
    """Points that stay where they are: depths, areas, and the strain they were bonded at."""

    law: StressLaw
    depths: FloatArray
    areas: FloatArray
    bond: FloatArray | float = 0.0

    @cached_property
    def weights(self) -> FloatArray:
        return np.stack([self.areas, self.areas * self.depths], axis=1)

    def sums(self, c: FloatArray, curvature: FloatArray) -> Sums:
        strain = curvature[:, None] * (self.depths - c[:, None]) - self.bond
        stress, tangent = self.law.stress_and_tangent(strain)
        forces, stiffnesses = stress @ self.weights, tangent @ self.weights
        return Sums(forces[:, 0], forces[:, 1], stiffnesses[:, 0], stiffnesses[:, 1])


@dataclass(frozen=True)
class _Following:
    """Points between the top of a strip and the neutral axis, or the strip's end if nearer."""

    law: StressLaw
    strip: Strip
    places: FloatArray

    def sums(self, c: FloatArray, curvature: FloatArray) -> Sums:
        top, bottom = self.strip.top_mm, self.strip.bottom_mm
        length = np.maximum(np.minimum(c, bottom) - top, 0.0)
        depths = top + length[:, None] * self.places
        stress, tangent = self.law.stress_and_tangent(curvature[:, None] * (depths - c[:, None]))
        area = self.strip.width_mm * length / len(self.places)
        return Sums(
            area * stress.sum(axis=1),
            area * np.einsum("ij,ij->i", stress, depths),
            area * tangent.sum(axis=1),
            area * np.einsum("ij,ij->i", tangent, depths),
        )


def _gauss_places(layers: int) -> FloatArray:
    """Two Gauss points in each of equal layers of a unit length, from 0 to 1."""
    middles = (np.arange(layers) + 0.5) / layers
    offset = 0.5 / np.sqrt(3.0) / layers
    return np.sort(np.concatenate([middles - offset, middles + offset]))


@dataclass(frozen=True)
class FibreModel:
    """A section cut into fibres.

    Args:
        section: outline, bars, fabric and bond plane.
        concrete: any law with an ultimate strain.
        layers: in each strip of the outline; five times as many for concrete with tension.
        displaced: take off the concrete that bars displace.
    """

    section: Section
    concrete: CompressionLaw
    layers: int = 20
    displaced: bool = True

    def __post_init__(self) -> None:
        number("layers", self.layers, low=4, high=5000)

    @cached_property
    def parts(self) -> tuple[_Part, ...]:
        """Every material with its points."""
        parts: list[_Part] = [self._concrete(strip) for strip in self.section.shape.strips]
        for bar in self.section.bars:
            depth, area = np.array([bar.depth_mm]), np.array([bar.area_mm2])
            parts.append(_Fixed(bar.steel, depth, area))
            if self.displaced:
                parts.append(_Fixed(self.concrete, depth, -area))
        for fabric in self.section.fabrics:
            bond = np.asarray(self.section.bond.at(fabric.depths_mm), dtype=np.float64)
            parts.append(_Fixed(fabric.law, fabric.depths_mm, fabric.areas_mm2, bond))
        return tuple(parts)

    def _concrete(self, strip: Strip) -> _Part:
        if not self.concrete.carries_tension:
            return _Following(self.concrete, strip, _gauss_places(self.layers))
        places = _gauss_places(_FINER * self.layers)
        height = strip.bottom_mm - strip.top_mm
        areas = np.full(len(places), strip.area_mm2 / len(places))
        return _Fixed(self.concrete, strip.top_mm + height * places, areas)

    def sums(self, c: FloatArray, curvature: FloatArray) -> Sums:
        """Force, moment and tangents under planes given by neutral axis and curvature.

        Args:
            c: neutral-axis depths, mm, shape (n,).
            curvature: 1/mm, shape (n,).
        """
        first, *others = self.parts
        total = first.sums(c, curvature)
        for part in others:
            total = total + part.sums(c, curvature)
        return total
