"""Settings of material tests: how a piece was held and measured, each with its rule in words."""

from __future__ import annotations

from typing import ClassVar, Literal

from labmatrix.kernel.errors import ShapeError
from results.domain.reduction.settings import ReductionSettings, setting

NOT_GIVEN = (
    "The settings of the {reduction} test do not give {names}; wanted is each of them, because "
    "{why}."
)


class MaterialSettings(ReductionSettings):
    """Settings some of which have no default, because nobody could guess them."""

    WANTED: ClassVar[tuple[str, ...]] = ()
    WHY: ClassVar[str] = ""

    mark: str = setting("", unit="1", rule="What is written on the piece.", max_length=40)

    def check_wanted(self, names: tuple[str, ...] | None = None) -> None:
        """Refuse what was left out and has no default.

        Raises:
            ShapeError: ``reduction.setting-missing``.
        """
        missing = [n for n in (names or self.WANTED) if getattr(self, n) in (None, "")]
        if missing:
            words = NOT_GIVEN.format(
                reduction=self.REDUCTION, names=", ".join(missing), why=self.WHY
            )
            raise ShapeError("reduction.setting-missing", words, missing=missing)


class CouponSettings(MaterialSettings):
    """Direct tension of a coupon of fabric in its matrix."""

    REDUCTION = "coupon"
    WANTED = ("grip", "bond_length_mm", "gauge_length_mm", "width_mm")
    WHY = "coupons held or measured in different ways are never pooled"

    grip: Literal["clevis", "clamped"] | None = setting(
        None,
        unit="1",
        rule="How the ends were held. A clevis grip ends in slip, a clamped one in rupture; the "
        "two are never pooled. Must be given.",
    )
    bond_length_mm: float | None = setting(
        None, unit="mm", rule="Bond length of the tabs at each end. Must be given.", ge=10, le=1000
    )
    gauge_length_mm: float | None = setting(
        None,
        unit="mm",
        rule="Length over which elongation was measured; an elongation channel is divided by it. "
        "Must be given.",
        ge=5,
        le=2000,
    )
    width_mm: float | None = setting(
        None, unit="mm", rule="Width of the coupon. Must be given.", ge=5, le=2000
    )
    plies: int = setting(1, unit="1", rule="Plies of fabric in the coupon.", ge=1, le=20)
    ply_thickness_mm: float | None = setting(
        None,
        unit="mm",
        rule="Fibre area of a ply by its width. Where it is not given, that of the lot counts.",
        ge=0.005,
        le=5.0,
    )
    area_origin: Literal["data sheet", "measured"] = setting(
        "data sheet", unit="1", rule="Where the fibre area comes from."
    )


class BarSettings(MaterialSettings):
    """Tension of a reinforcing bar."""

    REDUCTION = "bar"
    WANTED = ()
    WHY = "stress is load over area and strain is elongation over gauge length"

    diameter_mm: float | None = setting(
        None,
        unit="mm",
        rule="Of the bar; the stress is on its nominal area. Where it is not given, that of the "
        "heat counts.",
        ge=3,
        le=60,
    )
    gauge_length_mm: float | None = setting(
        None,
        unit="mm",
        rule="Of the extensometer; only where its elongation was recorded, and not strain.",
        ge=5,
        le=1000,
    )
    offset: float = setting(
        0.002,
        unit="mm/mm",
        rule="Yield is where the line E (ε − offset) meets the curve (ASTM A370, recalled).",
        gt=0,
        le=0.02,
    )
    slope_low_mpa: float = setting(
        80.0, unit="MPa", rule="E is the least-squares slope from this stress …", ge=0, le=400
    )
    slope_high_mpa: float = setting(250.0, unit="MPa", rule="… to this stress.", gt=0, le=800)


class CylinderSettings(MaterialSettings):
    """Compression of a cylinder."""

    REDUCTION = "cylinder"
    WANTED = ("diameter_mm", "length_mm")
    WHY = "strength is load over area, times the factor for length over diameter (ASTM C39, 8.2)"

    diameter_mm: float | None = setting(
        None, unit="mm", rule="Mean diameter. Must be given.", ge=25, le=500
    )
    length_mm: float | None = setting(
        None, unit="mm", rule="Length as tested. Must be given.", ge=25, le=1200
    )


class CubeSettings(MaterialSettings):
    """Compression of a cube."""

    REDUCTION = "cube"
    WANTED = ("side_mm",)
    WHY = "strength is load over area"

    side_mm: float | None = setting(
        None, unit="mm", rule="Mean side. Must be given.", ge=20, le=300
    )
    conversion: Literal["none", "EN 206 classes"] = setting(
        "none",
        unit="1",
        rule="To a cylinder strength, between the pairs of strength classes of EN 206 (recalled). "
        "Without a named rule a cube says nothing of f'c.",
    )
