"""What the closed-form solution is given: a section, or many, as plain numbers and arrays."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from results.domain.mechanics.arrays import FloatArray, Numeric
from results.domain.mechanics.blocks import BlockName, beta1_rectangular
from results.domain.mechanics.pivot import StrainLimit
from results.domain.mechanics.section import Section

Pick = slice | NDArray[np.intp]


@dataclass(frozen=True)
class CaseStrip:
    """A strip of constant width: width, top and bottom depth, mm."""

    width: Numeric
    top: Numeric
    bottom: Numeric


@dataclass(frozen=True)
class CaseBar:
    """A bar layer: area mm², depth mm, yield stress and modulus MPa."""

    area: Numeric
    depth: Numeric
    yield_stress: Numeric
    modulus: Numeric


@dataclass(frozen=True)
class CaseFabric:
    """One lump of fabric: area mm², depth mm, modulus MPa, ε_bi at its depth."""

    area: Numeric
    depth: Numeric
    modulus: Numeric
    bond: Numeric


Part = TypeVar("Part", CaseStrip, CaseBar, CaseFabric, StrainLimit)


@dataclass(frozen=True)
class BlockCase:
    """Sections to solve; every number may be an array over samples, shape (n,).

    Args:
        block: which compression block.
        strength: f'c, MPa.
        modulus: Ec, MPa (used by the parabolic block).
        beta1: β1 (used by the rectangular block).
        strips: outline from the top down.
        bars: bar layers.
        fabrics: lumps of fabric.
        limits: one for each fabric layer.
        crushing_strain: 0.003 in ACI 318 and ACI 549.4R.
        displaced: take off the concrete that compressed bars displace.
    """

    block: BlockName
    strength: Numeric
    modulus: Numeric
    beta1: Numeric
    strips: tuple[CaseStrip, ...]
    bars: tuple[CaseBar, ...]
    fabrics: tuple[CaseFabric, ...] = ()
    limits: tuple[StrainLimit, ...] = ()
    crushing_strain: Numeric = 0.003
    displaced: bool = True

    def take(self, pick: Pick) -> BlockCase:
        """The sections at the given positions."""
        return replace(
            self,
            strength=_take(self.strength, pick),
            modulus=_take(self.modulus, pick),
            beta1=_take(self.beta1, pick),
            crushing_strain=_take(self.crushing_strain, pick),
            strips=tuple(_take_part(part, pick) for part in self.strips),
            bars=tuple(_take_part(part, pick) for part in self.bars),
            fabrics=tuple(_take_part(part, pick) for part in self.fabrics),
            limits=tuple(_take_part(part, pick) for part in self.limits),
        )

    def samples(self) -> int:
        """How many sections there are: the length of the arrays, 1 when all are numbers."""
        values = [self.strength, self.modulus, self.beta1, self.crushing_strain]
        parts: list[Any] = [*self.strips, *self.bars, *self.fabrics, *self.limits]
        for part in parts:
            values += [getattr(part, item.name) for item in fields(part)]
        return max((value.size for value in values if isinstance(value, np.ndarray)), default=1)


def _take(value: Numeric, pick: Pick) -> Numeric:
    return value[pick] if isinstance(value, np.ndarray) and value.ndim else value


def _take_part(part: Part, pick: Pick) -> Part:
    changed = {item.name: _take(getattr(part, item.name), pick) for item in fields(part)}
    return replace(part, **changed)


def case_of(
    section: Section,
    *,
    strength_mpa: float,
    modulus_mpa: float,
    block: BlockName,
    crushing_strain: float = 0.003,
    beta1: float | None = None,
    displaced: bool = True,
) -> BlockCase:
    """The case of one section.

    Args:
        section: outline, bars, fabric; hardening and a two-line fabric are not used here.
        strength_mpa: f'c, MPa.
        modulus_mpa: Ec, MPa.
        block: which compression block.
        crushing_strain: of the top face, mm/mm.
        beta1: β1 of the rectangular block where it is not to follow from f'c in MPa.
        displaced: take off the concrete that compressed bars displace.
    """
    return BlockCase(
        block=block,
        strength=strength_mpa,
        modulus=modulus_mpa,
        beta1=float(beta1_rectangular(strength_mpa)) if beta1 is None else beta1,
        strips=tuple(CaseStrip(s.width_mm, s.top_mm, s.bottom_mm) for s in section.shape.strips),
        bars=tuple(
            CaseBar(bar.area_mm2, bar.depth_mm, bar.steel.yield_mpa, bar.steel.modulus_mpa)
            for bar in section.bars
        ),
        fabrics=_lumps(section),
        limits=fabric_limits(section),
        crushing_strain=crushing_strain,
        displaced=displaced,
    )


def fabric_limits(section: Section) -> tuple[StrainLimit, ...]:
    """Where each fabric layer is spent: usable strain plus ε_bi at its lower end."""
    return tuple(
        StrainLimit(
            fabric.bottom_mm, fabric.usable_strain + float(section.bond.at(fabric.bottom_mm))
        )
        for fabric in section.fabrics
    )


def _lumps(section: Section) -> tuple[CaseFabric, ...]:
    return tuple(
        CaseFabric(float(area), float(depth), fabric.law.modulus_mpa, float(section.bond.at(depth)))
        for fabric in section.fabrics
        for area, depth in zip(fabric.areas_mm2, fabric.depths_mm, strict=True)
    )


def deepest(case: BlockCase) -> Numeric:
    """Depth of the deepest bar or fabric, mm: no neutral axis of pure bending lies below it."""
    depths: list[FloatArray] = [np.asarray(part.depth) for part in case.bars]
    depths += [np.asarray(part.depth) for part in case.fabrics]
    result = depths[0]
    for depth in depths[1:]:
        result = np.maximum(result, depth)
    return result
