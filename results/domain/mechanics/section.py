"""A strengthened section: outline, bar layers, fabric layers, and the strain it was bonded at."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.laws import BarSteel, FabricLaw
from results.domain.mechanics.ranges import number
from results.domain.mechanics.shape import Shape

# Fabric spread over a height is lumped at the middles of this many equal parts.
SIDE_PARTS = 24


@dataclass(frozen=True)
class BarLayer:
    """Bars at one depth.

    Args:
        area_mm2: total area of the layer, mm².
        depth_mm: depth of the bar centres from the top face, mm.
        steel: law of the bars.
        name: what a person calls the layer.
    """

    area_mm2: float
    depth_mm: float
    steel: BarSteel
    name: str = "bars"

    def __post_init__(self) -> None:
        number("area_mm2", self.area_mm2, low=0.0, high=1e6, above=True, unit="mm²")
        number("depth_mm", self.depth_mm, low=0.0, high=5000.0, above=True, unit="mm")


def bar_area(count: int, diameter_mm: float) -> float:
    """Area of round bars, mm².

    Raises:
        RangeError: fewer than one bar, or a diameter outside 3 to 60 mm.
    """
    number("count", count, low=1, high=200)
    number("diameter_mm", diameter_mm, low=3.0, high=60.0, unit="mm")
    return count * math.pi * diameter_mm**2 / 4.0


@dataclass(frozen=True)
class FabricLayer:
    """Fabric at one depth (top = bottom) or spread evenly over a height.

    Args:
        area_mm2: area of the fibres along the member, mm².
        top_mm: depth of the upper end, mm.
        bottom_mm: depth of the lower end, where the strain is largest, mm.
        law: stress on the fabric area against strain.
        usable_strain: strain at which the fabric counts as spent, mm/mm.
        name: what a person calls the layer.
    """

    area_mm2: float
    top_mm: float
    bottom_mm: float
    law: FabricLaw
    usable_strain: float
    name: str = "fabric"

    def __post_init__(self) -> None:
        number("area_mm2", self.area_mm2, low=0.0, high=1e6, above=True, unit="mm²")
        number("bottom_mm", self.bottom_mm, low=1.0, high=6000.0, unit="mm")
        number("top_mm", self.top_mm, low=0.0, high=self.bottom_mm, unit="mm")
        number("usable_strain", self.usable_strain, low=0.0, high=0.1, above=True)

    @property
    def depths_mm(self) -> FloatArray:
        """Depths of the lumps, mm, shape (parts,)."""
        if self.top_mm == self.bottom_mm:
            return np.array([self.bottom_mm])
        share = (np.arange(SIDE_PARTS) + 0.5) / SIDE_PARTS
        return self.top_mm + share * (self.bottom_mm - self.top_mm)

    @property
    def areas_mm2(self) -> FloatArray:
        """Areas of the lumps, mm², shape (parts,)."""
        parts = len(self.depths_mm)
        return np.full(parts, self.area_mm2 / parts)


@dataclass(frozen=True)
class BondStrain:
    """The strain plane that the section had when the fabric was bonded to it.

    Fabric feels the strain of the section less this plane.

    Args:
        top: strain at the top face, mm/mm (compression negative).
        curvature_per_mm: curvature, 1/mm.
    """

    top: float = 0.0
    curvature_per_mm: float = 0.0

    def at(self, depth_mm: FloatArray | float) -> FloatArray | float:
        """ε_bi at a depth, mm/mm."""
        return self.top + self.curvature_per_mm * depth_mm


@dataclass(frozen=True)
class Section:
    """Everything about a cross-section but the concrete law.

    Raises:
        ShapeError: no bars: the control would carry nothing.
        RangeError: a bar outside the outline, or fabric more than a fifth of the height below it.
    """

    shape: Shape
    bars: tuple[BarLayer, ...]
    fabrics: tuple[FabricLayer, ...] = ()
    bond: BondStrain = BondStrain()

    def __post_init__(self) -> None:
        height = self.shape.height_mm
        if not self.bars:
            raise ShapeError(
                "section.no-bars",
                "The section has no bars; allowed is at least one layer of bars.",
            )
        for bar in self.bars:
            if bar.depth_mm >= height:
                raise RangeError("depth_mm", bar.depth_mm, f"below the height of {height:g} mm")
        for fabric in self.fabrics:
            if fabric.bottom_mm > 1.2 * height:
                raise RangeError("bottom_mm", fabric.bottom_mm, f"up to {1.2 * height:g} mm")

    @property
    def tension_depth_mm(self) -> float:
        """Depth of the deepest bars, mm."""
        return self.tension_bar.depth_mm

    @property
    def tension_bar(self) -> BarLayer:
        """The deepest layer of bars."""
        return max(self.bars, key=lambda bar: bar.depth_mm)

    @property
    def deepest_mm(self) -> float:
        """Depth of the deepest bar or lump of fabric, mm."""
        depths = [bar.depth_mm for bar in self.bars]
        depths += [float(fabric.depths_mm[-1]) for fabric in self.fabrics]
        return max(depths)

    def without_fabric(self) -> Section:
        """The unstrengthened twin."""
        return replace(self, fabrics=(), bond=BondStrain())

    def with_bond(self, bond: BondStrain) -> Section:
        """The same section, bonded at another strain."""
        return replace(self, bond=bond)


def soffit_fabric(
    *,
    plies: int,
    ply_thickness_mm: float,
    width_mm: float,
    depth_mm: float,
    law: FabricLaw,
    usable_strain: float,
) -> FabricLayer:
    """Plies on the soffit: n·t·w of fibre area at one depth."""
    area = fabric_area(plies=plies, ply_thickness_mm=ply_thickness_mm, width_mm=width_mm)
    return FabricLayer(area, depth_mm, depth_mm, law, usable_strain, "soffit fabric")


def side_fabric(
    *,
    plies: int,
    ply_thickness_mm: float,
    top_mm: float,
    bottom_mm: float,
    law: FabricLaw,
    usable_strain: float,
) -> FabricLayer:
    """Plies on both sides between two depths: 2·n·t·(bottom − top) of fibre area."""
    height = number("bottom_mm", bottom_mm, low=top_mm, high=6000.0, above=True) - top_mm
    area = fabric_area(plies=plies, ply_thickness_mm=ply_thickness_mm, width_mm=2.0 * height)
    return FabricLayer(area, top_mm, bottom_mm, law, usable_strain, "side fabric")


def fabric_area(*, plies: int, ply_thickness_mm: float, width_mm: float) -> float:
    """Fibre area n·t·w, mm², with t the equivalent thickness of one ply.

    Raises:
        RangeError: plies outside 1 to 20, thickness outside 0.005 to 5 mm, width outside
            5 to 10 000 mm.
    """
    number("plies", plies, low=1, high=20)
    number("ply_thickness_mm", ply_thickness_mm, low=0.005, high=5.0, unit="mm")
    number("width_mm", width_mm, low=5.0, high=10_000.0, unit="mm")
    return plies * ply_thickness_mm * width_mm
