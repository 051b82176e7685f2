"""The parts of a member as people give them: plain numbers with the unit in each name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.laws import BarSteel, FabricLaw
from results.domain.mechanics.limits import FIBRES
from results.domain.mechanics.materials.concrete import modulus_si
from results.domain.mechanics.ranges import Fields
from results.domain.mechanics.section import BarLayer, bar_area
from results.domain.mechanics.shape import Shape, rectangle, tee

Origin = Literal["specified", "measured"]
ORIGINS: tuple[Origin, ...] = ("specified", "measured")
PLACES: tuple[str, ...] = ("soffit", "sides", "u-wrap")


def read_shape(fields: Fields) -> Shape:
    """A rectangle {kind, width_mm, height_mm} or a tee with flange and web."""
    kind = fields.choice("kind", ("rectangle", "tee"), "rectangle")
    height = fields.number("height_mm", low=20.0, high=5000.0)
    if kind == "rectangle":
        shape = rectangle(fields.number("width_mm", low=20.0, high=5000.0), height)
    else:
        shape = tee(
            fields.number("flange_width_mm", low=20.0, high=10_000.0),
            fields.number("flange_thickness_mm", low=10.0, high=height),
            fields.number("web_width_mm", low=20.0, high=5000.0),
            height,
        )
    fields.finish()
    return shape


def shape_as_dict(shape: Shape) -> dict[str, Any]:
    """The inverse of :func:`read_shape`."""
    if shape.kind == "rectangle":
        return {
            "kind": "rectangle",
            "width_mm": shape.top_width_mm,
            "height_mm": shape.height_mm,
        }
    return {
        "kind": "tee",
        "flange_width_mm": shape.top_width_mm,
        "flange_thickness_mm": shape.strips[0].bottom_mm,
        "web_width_mm": shape.web_width_mm,
        "height_mm": shape.height_mm,
    }


@dataclass(frozen=True)
class ConcreteInput:
    """Concrete of a member.

    Args:
        strength_mpa: f'c, from cylinders.
        modulus_mpa: Ec; None for 4700 √f'c.
        rupture_mpa: fr; None for 0.62 √f'c.
        unit_weight_kn_per_m3: for self-weight.
        origin: whether the values are specified or measured.
    """

    strength_mpa: float
    modulus_mpa: float | None = None
    rupture_mpa: float | None = None
    unit_weight_kn_per_m3: float = 24.0
    origin: Origin = "specified"

    @classmethod
    def read(cls, fields: Fields) -> ConcreteInput:
        """From JSON fields of the same names."""
        made = cls(
            fields.number("strength_mpa", low=5.0, high=200.0),
            fields.maybe_number("modulus_mpa", low=5000.0, high=80_000.0),
            fields.maybe_number("rupture_mpa", low=0.1, high=20.0),
            fields.number("unit_weight_kn_per_m3", 24.0, low=10.0, high=40.0),
            _origin(fields),
        )
        fields.finish()
        return made

    @property
    def modulus(self) -> float:
        """Ec as used, MPa."""
        return modulus_si(self.strength_mpa) if self.modulus_mpa is None else self.modulus_mpa

    @property
    def rupture(self) -> float:
        """fr as used, MPa."""
        return 0.62 * math.sqrt(self.strength_mpa) if self.rupture_mpa is None else self.rupture_mpa


def _origin(fields: Fields) -> Origin:
    chosen = fields.choice("origin", ORIGINS, "specified")
    return "measured" if chosen == "measured" else "specified"


@dataclass(frozen=True)
class BarInput:
    """One layer of bars: count and diameter, or an area.

    Args:
        depth_mm: from the top face.
        yield_mpa: fy.
        area_mm2: total; None where count and diameter are given.
        count, diameter_mm: of equal round bars.
        modulus_mpa: Es.
        hardening_mpa: slope beyond yield, used by the fibre integration.
        rupture_strain: used by the fibre integration; None not looked at.
        name: of the layer.
        origin: whether the values are specified or measured.
    """

    depth_mm: float
    yield_mpa: float
    area_mm2: float | None = None
    count: int | None = None
    diameter_mm: float | None = None
    modulus_mpa: float = 200_000.0
    hardening_mpa: float = 0.0
    rupture_strain: float | None = None
    name: str = "bars"
    origin: Origin = "specified"

    @classmethod
    def read(cls, fields: Fields) -> BarInput:
        """From JSON fields of the same names.

        Raises:
            ShapeError: ``bars.area``, neither an area nor count and diameter.
        """
        area = fields.maybe_number("area_mm2", low=1.0, high=1e6)
        counted = fields.source.get("count") is not None
        count = fields.count("count", 1, low=1, high=200)
        diameter = fields.maybe_number("diameter_mm", low=3.0, high=60.0)
        if area is None and not (counted and diameter is not None):
            raise ShapeError(
                "bars.area",
                f"{fields.path}area_mm2 is missing, and so is count with diameter_mm; wanted is "
                "one of the two.",
            )
        made = cls(
            fields.number("depth_mm", low=1.0, high=5000.0),
            fields.number("yield_mpa", low=100.0, high=1500.0),
            area,
            count if counted else None,
            diameter,
            fields.number("modulus_mpa", 200_000.0, low=50_000.0, high=250_000.0),
            fields.number("hardening_mpa", 0.0, low=0.0, high=20_000.0),
            fields.maybe_number("rupture_strain", low=0.001, high=0.5),
            fields.text("name", "bars"),
            _origin(fields),
        )
        fields.finish()
        return made

    @property
    def area(self) -> float:
        """Area as used, mm²: as given, else from count and diameter."""
        if self.area_mm2 is not None:
            return self.area_mm2
        return bar_area(self.count or 1, self.diameter_mm or 0.0)

    def layer(self) -> BarLayer:
        """The layer for the computation."""
        rupture = math.inf if self.rupture_strain is None else self.rupture_strain
        steel = BarSteel(self.yield_mpa, self.modulus_mpa, self.hardening_mpa, rupture)
        return BarLayer(self.area, self.depth_mm, steel, self.name)


@dataclass(frozen=True)
class FabricInput:
    """Fabric of a member.

    Args:
        fibre: for the limit of sustained and cyclic stress.
        plies, ply_thickness_mm: n and the equivalent thickness of one ply.
        modulus_mpa: mean cracked modulus Ef.
        design_strain: from coupons, before cap and anchorage.
        place: soffit, both sides, or a U of soffit and sides.
        width_mm: on the soffit; None for the whole web.
        side_height_mm: of the part on each side, up from the soffit.
        depth_mm: of the soffit fabric; None for the height of the section.
        ultimate_strain: of the coupons; the usable strain never exceeds it.
        anchorage_factor: stated factor on the usable strain, 1 without anchorage.
        anchorage: the device in words.
        uncracked_mpa, transition_strain: first line of a coupon, used by the fibre integration.
        origin: whether the values are specified or measured.
    """

    fibre: str
    plies: int
    ply_thickness_mm: float
    modulus_mpa: float
    design_strain: float
    place: str = "soffit"
    width_mm: float | None = None
    side_height_mm: float | None = None
    depth_mm: float | None = None
    ultimate_strain: float | None = None
    anchorage_factor: float = 1.0
    anchorage: str = ""
    uncracked_mpa: float | None = None
    transition_strain: float = 0.0
    origin: Origin = "specified"

    @classmethod
    def read(cls, fields: Fields) -> FabricInput:
        """From JSON fields of the same names.

        Raises:
            ShapeError: ``input.missing``, fabric on the sides without its height.
        """
        place = fields.choice("place", PLACES, "soffit")
        on_sides = place != "soffit"
        made = cls(
            fields.choice("fibre", FIBRES),
            fields.count("plies", low=1, high=20),
            fields.number("ply_thickness_mm", low=0.005, high=5.0),
            fields.number("modulus_mpa", low=1000.0, high=800_000.0),
            fields.number("design_strain", low=0.0005, high=0.05),
            place,
            fields.maybe_number("width_mm", low=5.0, high=5000.0),
            fields.number("side_height_mm", low=5.0, high=5000.0)
            if on_sides
            else fields.maybe_number("side_height_mm", low=5.0, high=5000.0),
            fields.maybe_number("depth_mm", low=20.0, high=6000.0),
            fields.maybe_number("ultimate_strain", low=0.0005, high=0.1),
            fields.number("anchorage_factor", 1.0, low=0.1, high=2.0),
            fields.text("anchorage"),
            fields.maybe_number("uncracked_mpa", low=1000.0, high=5e6),
            fields.number("transition_strain", 0.0, low=0.0, high=0.02),
            _origin(fields),
        )
        fields.finish()
        return made

    def law(self) -> FabricLaw:
        """Stress on the fabric area."""
        return FabricLaw(self.modulus_mpa, self.uncracked_mpa, self.transition_strain)

    def usable_strain(self, cap: float) -> float:
        """Anchorage factor times the design strain or the cap, at most the ultimate strain."""
        usable = self.anchorage_factor * min(self.design_strain, cap)
        return usable if self.ultimate_strain is None else min(usable, self.ultimate_strain)


@dataclass(frozen=True)
class HistoryInput:
    """What the member saw before the test.

    Args:
        moment_at_installation_knm: while the fabric was bonded.
        largest_earlier_moment_knm: ever before; above the cracking moment it is cracked.
        bond_strain: ε_bi itself where it is known; None to find it from the moments.
        repeated: many cycles or a long load before, so that tension stiffening has halved.
    """

    moment_at_installation_knm: float = 0.0
    largest_earlier_moment_knm: float = 0.0
    bond_strain: float | None = None
    repeated: bool = False

    @classmethod
    def read(cls, fields: Fields) -> HistoryInput:
        """From JSON fields of the same names."""
        made = cls(
            fields.number("moment_at_installation_knm", 0.0, low=0.0, high=1e6),
            fields.number("largest_earlier_moment_knm", 0.0, low=0.0, high=1e6),
            fields.maybe_number("bond_strain", low=-0.002, high=0.01),
            fields.flag("repeated", False),
        )
        fields.finish()
        return made


def part_as_dict(part: ConcreteInput | BarInput | FabricInput | HistoryInput) -> Mapping[str, Any]:
    """Every field by its name, JSON-ready."""
    return asdict(part)
