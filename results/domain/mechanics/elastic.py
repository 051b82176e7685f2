"""The elastic section: gross, uncracked with bars, cracked; ε_bi and service stresses."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.ranges import number
from results.domain.mechanics.roots import IndexArray, increasing_roots
from results.domain.mechanics.section import BondStrain, Section


@dataclass(frozen=True)
class ElasticSection:
    """A linear section in bending.

    Attributes:
        neutral_axis_mm: depth of zero strain, mm.
        inertia_mm4: second moment of area in terms of concrete, mm⁴.
        modulus_mpa: Ec, MPa.
    """

    neutral_axis_mm: float
    inertia_mm4: float
    modulus_mpa: float

    @property
    def stiffness_nmm2(self) -> float:
        """E·I, N·mm²."""
        return self.modulus_mpa * self.inertia_mm4

    def strain(self, moment_nmm: float, depth_mm: float) -> float:
        """Strain at a depth under a moment, tension positive."""
        return moment_nmm / self.stiffness_nmm2 * (depth_mm - self.neutral_axis_mm)


def gross_section(section: Section, modulus_mpa: float) -> ElasticSection:
    """The outline alone."""
    return ElasticSection(section.shape.centroid_mm, section.shape.inertia_mm4, modulus_mpa)


def _added(section: Section, modulus: float, *, displaced: float) -> tuple[FloatArray, FloatArray]:
    """Areas in terms of concrete, and depths, of bars (less what they displace) and fabric."""
    areas, depths = [], []
    for bar in section.bars:
        areas.append((bar.steel.modulus_mpa / modulus - displaced) * bar.area_mm2)
        depths.append(bar.depth_mm)
    for fabric in section.fabrics:
        areas += list(fabric.law.modulus_mpa / modulus * fabric.areas_mm2)
        depths += list(fabric.depths_mm)
    return np.array(areas), np.array(depths)


def uncracked_section(section: Section, modulus_mpa: float) -> ElasticSection:
    """Outline with bars (n − 1) and fabric in terms of concrete."""
    shape = section.shape
    areas, depths = _added(section, modulus_mpa, displaced=1.0)
    area = shape.area_mm2 + areas.sum()
    middle = (shape.area_mm2 * shape.centroid_mm + (areas * depths).sum()) / area
    inertia = (
        shape.inertia_mm4
        + shape.area_mm2 * (shape.centroid_mm - middle) ** 2
        + float((areas * (depths - middle) ** 2).sum())
    )
    return ElasticSection(float(middle), inertia, modulus_mpa)


def _cracked_areas(section: Section, modulus: float, kd: float) -> tuple[FloatArray, FloatArray]:
    """Bars and fabric at a neutral axis: (n − 1) for compressed bars, no fabric above it."""
    areas, depths = _added(section, modulus, displaced=0.0)
    above = depths < kd
    bars = len(section.bars)
    areas[:bars] -= above[:bars] * np.array([bar.area_mm2 for bar in section.bars])
    areas[bars:] *= ~above[bars:]
    return areas, depths


def cracked_section(section: Section, modulus_mpa: float) -> ElasticSection:
    """Concrete in compression only, with bars and fabric, from zero strain of the fabric.

    Raises:
        RangeError: Ec outside 1000 to 100 000 MPa.
    """
    number("modulus_mpa", modulus_mpa, low=1000.0, high=100_000.0, unit="MPa")

    def first_moment(x: FloatArray, index: IndexArray | None) -> tuple[FloatArray, FloatArray]:
        kd = float(x[0])
        areas, depths = _cracked_areas(section, modulus_mpa, kd)
        value, slope = float((areas * (kd - depths)).sum()), float(areas.sum())
        for strip in section.shape.strips:
            top, bottom = max(kd - strip.top_mm, 0.0), max(kd - strip.bottom_mm, 0.0)
            value += strip.width_mm * (top**2 - bottom**2) / 2.0
            slope += strip.width_mm * (top - bottom)
        return np.array([value]), np.array([slope])

    deepest = section.deepest_mm
    kd = float(
        increasing_roots(
            first_moment, np.array([1e-9]), np.array([deepest]), np.array([0.3 * deepest])
        )[0]
    )
    areas, depths = _cracked_areas(section, modulus_mpa, kd)
    inertia = float((areas * (depths - kd) ** 2).sum())
    for strip in section.shape.strips:
        top, bottom = max(kd - strip.top_mm, 0.0), max(kd - strip.bottom_mm, 0.0)
        inertia += strip.width_mm * (top**3 - bottom**3) / 3.0
    return ElasticSection(kd, inertia, modulus_mpa)


def modulus_of_rupture(strength_mpa: float, coefficient: float = 0.62) -> float:
    """fr = 0.62 √f'c, MPa; ACI 318-19, 19.2.3.1 in SI.

    Raises:
        RangeError: a strength outside 5 to 200 MPa.
    """
    number("strength_mpa", strength_mpa, low=5.0, high=200.0, unit="MPa")
    return coefficient * math.sqrt(strength_mpa)


def cracking_moment(elastic: ElasticSection, height_mm: float, rupture_mpa: float) -> float:
    """Moment at which the soffit reaches fr, N·mm; on the gross section as ACI 318-19, 24.2.3.5."""
    return rupture_mpa * elastic.inertia_mm4 / (height_mm - elastic.neutral_axis_mm)


@dataclass(frozen=True)
class BondState:
    """The strain plane at installation and the section it was found on."""

    plane: BondStrain
    cracked: bool
    elastic: ElasticSection

    @property
    def section_name(self) -> str:
        """Which section counts."""
        return "cracked, bars only" if self.cracked else "gross, uncracked"


def bond_state(
    section: Section,
    *,
    modulus_mpa: float,
    cracking_nmm: float,
    moment_at_installation_nmm: float,
    largest_earlier_moment_nmm: float,
) -> BondState:
    """Strain of the member when the fabric was bonded.

    The bars-only cracked section counts where the member ever saw more than its cracking moment,
    the gross section otherwise.

    Args:
        section: with or without fabric, which plays no part here.
        modulus_mpa: Ec, MPa.
        cracking_nmm: Mcr of the gross section, N·mm.
        moment_at_installation_nmm: while the fabric was put on, N·mm.
        largest_earlier_moment_nmm: ever before, N·mm.

    Raises:
        RangeError: a negative moment.
    """
    moment = number("moment_at_installation_nmm", moment_at_installation_nmm, low=0.0, high=1e12)
    earlier = number("largest_earlier_moment_nmm", largest_earlier_moment_nmm, low=0.0, high=1e12)
    cracked = max(moment, earlier) > cracking_nmm
    bare = section.without_fabric()
    elastic = cracked_section(bare, modulus_mpa) if cracked else gross_section(bare, modulus_mpa)
    curvature = moment / elastic.stiffness_nmm2
    return BondState(BondStrain(-curvature * elastic.neutral_axis_mm, curvature), cracked, elastic)


@dataclass(frozen=True)
class ServiceStresses:
    """Elastic stresses of the cracked section under one moment, MPa, tension positive.

    Attributes:
        concrete_mpa: at the top face, as a positive compression.
        bars_mpa: by bar layer.
        fabrics_mpa: at the lower end of each fabric layer, less Ef·ε_bi, never below zero.
    """

    moment_nmm: float
    curvature_per_mm: float
    concrete_mpa: float
    bars_mpa: tuple[float, ...]
    fabrics_mpa: tuple[float, ...]

    @property
    def steel_mpa(self) -> float:
        """The largest bar stress."""
        return max(self.bars_mpa)

    @property
    def fabric_mpa(self) -> float:
        """The largest fabric stress, 0 without fabric."""
        return max(self.fabrics_mpa, default=0.0)


def service_stresses(
    section: Section, elastic: ElasticSection, moment_nmm: float
) -> ServiceStresses:
    """Stresses under a moment, with the fabric bonded at the strain of the section's bond plane.

    ACI 440.2R, Eq. (10-14), written for any layers: the neutral axis is the one without ε_bi,
    and Ef·Af·ε_bi adds a couple about the concrete's resultant.

    Args:
        section: with its bond plane.
        elastic: its cracked section.
        moment_nmm: N·mm, from 0.

    Raises:
        RangeError: a negative moment.
    """
    number("moment_nmm", moment_nmm, low=0.0, high=1e12)
    kd, modulus = elastic.neutral_axis_mm, elastic.modulus_mpa
    centre = _concrete_depth(section, kd)
    couple = sum(
        float(
            (
                fabric.law.modulus_mpa
                * fabric.areas_mm2
                * np.asarray(section.bond.at(fabric.depths_mm))
                * (fabric.depths_mm - centre)
                * (fabric.depths_mm > kd)
            ).sum()
        )
        for fabric in section.fabrics
    )
    curvature = (moment_nmm + couple) / elastic.stiffness_nmm2
    bars = tuple(bar.steel.modulus_mpa * curvature * (bar.depth_mm - kd) for bar in section.bars)
    fabrics = tuple(
        fabric.law.modulus_mpa
        * max(curvature * (fabric.bottom_mm - kd) - float(section.bond.at(fabric.bottom_mm)), 0.0)
        for fabric in section.fabrics
    )
    return ServiceStresses(moment_nmm, curvature, modulus * curvature * kd, bars, fabrics)


def _concrete_depth(section: Section, kd: float) -> float:
    """Depth of the resultant of a triangle of stress over the outline (kd/3 in a rectangle)."""
    force = first = 0.0
    for strip in section.shape.strips:
        top, bottom = max(kd - strip.top_mm, 0.0), max(kd - strip.bottom_mm, 0.0)
        force += strip.width_mm * (top**2 - bottom**2) / 2.0
        first += strip.width_mm * (top**3 - bottom**3) / 3.0
    return kd - first / force
