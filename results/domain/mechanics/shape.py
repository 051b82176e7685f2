"""Outlines of concrete: rectangle and T, as strips of constant width from the top down."""

from __future__ import annotations

from dataclasses import dataclass

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.ranges import number


@dataclass(frozen=True)
class Strip:
    """One strip of constant width, mm."""

    width_mm: float
    top_mm: float
    bottom_mm: float

    @property
    def area_mm2(self) -> float:
        """Area, mm²."""
        return self.width_mm * (self.bottom_mm - self.top_mm)

    @property
    def centroid_mm(self) -> float:
        """Depth of the middle, mm."""
        return 0.5 * (self.top_mm + self.bottom_mm)


@dataclass(frozen=True)
class Shape:
    """Strips that touch, from the top face (depth 0) to the soffit.

    Use :func:`rectangle` or :func:`tee`.
    """

    kind: str
    strips: tuple[Strip, ...]

    @property
    def height_mm(self) -> float:
        """Overall height h, mm."""
        return self.strips[-1].bottom_mm

    @property
    def top_width_mm(self) -> float:
        """Width of the compression face, mm."""
        return self.strips[0].width_mm

    @property
    def web_width_mm(self) -> float:
        """Width at the soffit, mm."""
        return self.strips[-1].width_mm

    @property
    def area_mm2(self) -> float:
        """Gross area, mm²."""
        return sum(strip.area_mm2 for strip in self.strips)

    @property
    def centroid_mm(self) -> float:
        """Depth of the gross centroid, mm."""
        return sum(strip.area_mm2 * strip.centroid_mm for strip in self.strips) / self.area_mm2

    @property
    def inertia_mm4(self) -> float:
        """Gross second moment of area about the centroid, mm⁴."""
        middle = self.centroid_mm
        return sum(
            strip.width_mm * (strip.bottom_mm - strip.top_mm) ** 3 / 12.0
            + strip.area_mm2 * (strip.centroid_mm - middle) ** 2
            for strip in self.strips
        )


def rectangle(width_mm: float, height_mm: float) -> Shape:
    """A rectangle b × h, mm.

    Raises:
        RangeError: a side outside 20 to 5000 mm.
    """
    number("width_mm", width_mm, low=20.0, high=5000.0, unit="mm")
    number("height_mm", height_mm, low=20.0, high=5000.0, unit="mm")
    return Shape("rectangle", (Strip(width_mm, 0.0, height_mm),))


def tee(
    flange_width_mm: float, flange_thickness_mm: float, web_width_mm: float, height_mm: float
) -> Shape:
    """A T with its flange on top, all in mm.

    Raises:
        RangeError: a side outside its range, a flange thicker than the height, or a web wider
            than the flange.
    """
    number("flange_width_mm", flange_width_mm, low=20.0, high=10_000.0, unit="mm")
    number("web_width_mm", web_width_mm, low=20.0, high=flange_width_mm, unit="mm")
    number("height_mm", height_mm, low=20.0, high=5000.0, unit="mm")
    number("flange_thickness_mm", flange_thickness_mm, low=10.0, high=height_mm, unit="mm")
    if flange_thickness_mm >= height_mm:
        raise RangeError(
            "flange_thickness_mm", flange_thickness_mm, f"below the height of {height_mm:g} mm"
        )
    return Shape(
        "tee",
        (
            Strip(flange_width_mm, 0.0, flange_thickness_mm),
            Strip(web_width_mm, flange_thickness_mm, height_mm),
        ),
    )
