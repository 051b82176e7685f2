"""Random sections, and the same sections in two independent general-purpose libraries.

Used by tests only. Both libraries take the same laws as the section under test.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from importlib import import_module
from typing import Any

import numpy as np
from concreteproperties.concrete_section import ConcreteSection
from concreteproperties.material import Concrete, SteelBar
from concreteproperties.pre import add_bar
from concreteproperties.stress_strain_profile import (
    ConcreteServiceProfile,
    EurocodeParabolicUltimate,
    SteelElasticPlastic,
)
from sectionproperties.pre.geometry import CompoundGeometry, Geometry
from structuralcodes.geometry import SurfaceGeometry, add_reinforcement
from structuralcodes.materials.basic import GenericMaterial
from structuralcodes.materials.constitutive_laws import (
    ElasticPlastic,
    InitialStrain,
    UserDefined,
)
from structuralcodes.materials.constitutive_laws import (
    ParabolaRectangle as PeerParabola,
)
from structuralcodes.sections import GenericSection

from results.domain.mechanics.laws import (
    BarSteel,
    CompressionLaw,
    FabricLaw,
    ParabolaRectangle,
    stress,
)
from results.domain.mechanics.section import (
    BarLayer,
    BondStrain,
    FabricLayer,
    Section,
    soffit_fabric,
)
from results.domain.mechanics.shape import Shape, rectangle, tee

_BARS = 3
# It ships no types, and needs none here.
_polygon: Any = import_module("shapely").Polygon


@dataclass(frozen=True)
class RandomMember:
    """A section with its concrete law."""

    section: Section
    concrete: ParabolaRectangle


def random_shape(rng: np.random.Generator) -> Shape:
    """A rectangle, or in two cases of five a T."""
    height = float(rng.uniform(200, 900))
    width = height * float(rng.uniform(0.4, 1.1))
    if rng.random() < 0.6:
        return rectangle(width, height)
    return tee(width * rng.uniform(1.5, 4.0), height * rng.uniform(0.1, 0.3), width, height)


def random_member(rng: np.random.Generator, *, fabric: bool) -> RandomMember:
    """One to three bar layers, sometimes compression steel, soffit fabric with or without ε_bi."""
    shape = random_shape(rng)
    height, area = shape.height_mm, shape.web_width_mm * shape.height_mm
    steel = BarSteel(float(rng.uniform(300, 600)), rupture_strain=0.2)
    bars = [
        BarLayer(area * rng.uniform(0.003, 0.012), height * (0.93 - 0.12 * layer), steel)
        for layer in range(int(rng.integers(1, 3)))
    ]
    if rng.random() < 0.4:
        bars.append(BarLayer(area * rng.uniform(0.001, 0.004), height * 0.08, steel))
    fabrics: tuple[FabricLayer, ...] = ()
    bond = BondStrain()
    if fabric:
        law = FabricLaw(float(rng.uniform(60_000, 240_000)))
        fabrics = (
            soffit_fabric(
                plies=int(rng.integers(1, 5)),
                ply_thickness_mm=0.05,
                width_mm=shape.web_width_mm,
                depth_mm=height,
                law=law,
                usable_strain=float(rng.uniform(0.006, 0.014)),
            ),
        )
        bond = BondStrain(top=float(rng.uniform(0.0, 6e-4)))
    concrete = ParabolaRectangle(float(rng.uniform(15, 50)))
    return RandomMember(Section(shape, tuple(bars), fabrics, bond), concrete)


def with_richer_laws(member: RandomMember) -> RandomMember:
    """The same member with bars that harden by 1 % and fabric of two lines."""
    bars = tuple(
        replace(bar, steel=replace(bar.steel, hardening_mpa=0.01 * bar.steel.modulus_mpa))
        for bar in member.section.bars
    )
    fabrics = tuple(
        replace(
            fabric,
            law=FabricLaw(
                fabric.law.modulus_mpa,
                uncracked_mpa=8.0 * fabric.law.modulus_mpa,
                transition_strain=0.1 * fabric.usable_strain,
            ),
        )
        for fabric in member.section.fabrics
    )
    return replace(member, section=replace(member.section, bars=bars, fabrics=fabrics))


def outline(shape: Shape) -> Any:
    """The shape as a polygon with its top face at y = 0."""
    first, last, height = shape.strips[0], shape.strips[-1], shape.height_mm
    if len(shape.strips) == 1:
        half = first.width_mm / 2.0
        return _polygon([(-half, 0), (half, 0), (half, -height), (-half, -height)])
    wide, thin, step = first.width_mm / 2.0, last.width_mm / 2.0, -first.bottom_mm
    return _polygon(
        [
            (-wide, 0), (wide, 0), (wide, step), (thin, step),
            (thin, -height), (-thin, -height), (-thin, step), (-wide, step),
        ]
    )  # fmt: skip


def _peer_law(concrete: CompressionLaw) -> Any:
    if isinstance(concrete, ParabolaRectangle):
        return PeerParabola(
            concrete.strength_mpa,
            eps_0=-concrete.peak_strain,
            eps_u=-concrete.ultimate_strain,
        )
    strains = np.append(np.linspace(-concrete.ultimate_strain, 0.0, 120), 0.2)
    return UserDefined(strains, stress(concrete, strains))


def structuralcodes_section(section: Section, concrete: CompressionLaw) -> Any:
    """The section in structuralcodes; concrete is not taken off at the bars there."""
    geometry: Any = SurfaceGeometry(
        outline(section.shape), GenericMaterial(2400, _peer_law(concrete))
    )
    for bar in section.bars:
        law = ElasticPlastic(
            bar.steel.modulus_mpa, bar.steel.yield_mpa, Eh=bar.steel.hardening_mpa, eps_su=0.2
        )
        geometry = add_reinforcement(
            geometry, (0.0, -bar.depth_mm), _diameter(bar.area_mm2), GenericMaterial(7850, law)
        )
    for fabric in section.fabrics:
        law = _peer_fabric(fabric)
        bond = float(section.bond.at(fabric.bottom_mm))
        if bond:
            law = InitialStrain(law, -bond)
        geometry = add_reinforcement(
            geometry,
            (0.0, -fabric.bottom_mm),
            _diameter(fabric.area_mm2),
            GenericMaterial(1500, law),
        )
    return GenericSection(geometry)


def _peer_fabric(fabric: FabricLayer) -> Any:
    """Slack below zero strain, as a fabric is: the peer's own elastic law would push."""
    strains = np.array([-0.1, 0.0, fabric.law.transition_strain, fabric.usable_strain])
    strains = np.unique(strains)
    return UserDefined(strains, stress(fabric.law, strains))


def _diameter(area: float) -> float:
    return float(np.sqrt(4.0 * area / np.pi))


def concreteproperties_section(section: Section, concrete: ParabolaRectangle) -> ConcreteSection:
    """The section in concreteproperties, without fabric; concrete is taken off at the bars."""
    # Straight lines between points there: 20 of them left a thousandth of the moment.
    strains = [0.0, *np.linspace(1e-5, concrete.ultimate_strain, 60)]
    stresses = [float(-stress(concrete, -np.array([strain]))[0]) for strain in strains]
    material = Concrete(
        "concrete",
        2.4e-6,
        ConcreteServiceProfile([-1e-3, *strains], [0.0, *stresses], concrete.ultimate_strain),
        "lightgrey",
        EurocodeParabolicUltimate(
            concrete.strength_mpa, concrete.peak_strain, concrete.ultimate_strain, 2, n_points=50
        ),
        3.4,
    )
    geometry: Any = CompoundGeometry([Geometry(outline(section.shape), material)])
    for bar in section.bars:
        steel = SteelBar(
            "steel",
            7.85e-6,
            SteelElasticPlastic(bar.steel.yield_mpa, bar.steel.modulus_mpa, 0.2),
            "grey",
        )
        # Bars have a size there and must not overlap: a layer is three of them side by side.
        width = section.shape.web_width_mm
        for place in (np.arange(_BARS) + 0.5) / _BARS - 0.5:
            geometry = add_bar(
                geometry, bar.area_mm2 / _BARS, steel, float(place) * width, -bar.depth_mm
            )
    return ConcreteSection(geometry)
