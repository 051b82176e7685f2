"""Direct tension coupons of fabric in its matrix: two lines from a curve, and design values.

Method of AC434, Annex A (recalled, not re-read). Grip, bond length and gauge length belong to the
result: a clevis grip ends in slip, a clamped one in rupture, and the two are never pooled.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from labmatrix.kernel.errors import ShapeError
from results.domain.mechanics.arrays import FloatArray
from results.domain.mechanics.laws import FabricLaw
from results.domain.mechanics.limits import Limit
from results.domain.mechanics.materials.curve import curve, last_upward_crossing
from results.domain.mechanics.ranges import choice, number
from results.domain.mechanics.section import fabric_area

Grip = Literal["clevis", "clamped"]
GRIPS: tuple[Grip, ...] = ("clevis", "clamped")
AreaOrigin = Literal["data sheet", "measured"]
AREA_ORIGINS: tuple[AreaOrigin, ...] = ("data sheet", "measured")
# A first slope less than this many times the cracked modulus is no visible transition.
_VISIBLE = 1.2


@dataclass(frozen=True)
class CouponSetup:
    """How a coupon was held and what its stress refers to.

    Args:
        grip: ``clevis`` or ``clamped``.
        bond_length_mm: of the tabs.
        gauge_length_mm: over which strain was measured.
        width_mm, ply_thickness_mm, plies: of the fabric.
        area_origin: where the thickness comes from.
    """

    grip: Grip
    bond_length_mm: float
    gauge_length_mm: float
    width_mm: float
    ply_thickness_mm: float
    plies: int
    area_origin: AreaOrigin

    def __post_init__(self) -> None:
        choice("grip", self.grip, GRIPS)
        choice("area_origin", self.area_origin, AREA_ORIGINS)
        number("bond_length_mm", self.bond_length_mm, low=10.0, high=1000.0, unit="mm")
        number("gauge_length_mm", self.gauge_length_mm, low=5.0, high=2000.0, unit="mm")

    @property
    def area_mm2(self) -> float:
        """Fibre area, mm²."""
        return fabric_area(
            plies=self.plies, ply_thickness_mm=self.ply_thickness_mm, width_mm=self.width_mm
        )

    @property
    def pool(self) -> tuple[str, float, float]:
        """What must be equal for two coupons to be averaged."""
        return self.grip, self.bond_length_mm, self.gauge_length_mm


@dataclass(frozen=True)
class Coupon:
    """One reduced coupon; MPa on the fabric area, mm/mm.

    Attributes:
        setup: how it was tested.
        largest_load_n: Fmax.
        strength_mpa: Fmax on the fabric area.
        strain_60, strain_90: last upward crossings of 0.60 and 0.90 of the strength.
        cracked_mpa: slope between them.
        ultimate_strain: at the strength on that line.
        uncracked_mpa, transition: of the first line and where the two lines meet (strain,
            stress); None where no transition is visible.
    """

    setup: CouponSetup
    largest_load_n: float
    strength_mpa: float
    strain_60: float
    strain_90: float
    cracked_mpa: float
    ultimate_strain: float
    uncracked_mpa: float | None
    transition: tuple[float, float] | None

    def law(self) -> FabricLaw:
        """The two-line law, or one line where no transition is visible."""
        if self.uncracked_mpa is None or self.transition is None:
            return FabricLaw(self.cracked_mpa)
        return FabricLaw(self.cracked_mpa, self.uncracked_mpa, self.transition[0])


def reduce_coupon(
    strain: Sequence[float] | FloatArray, load_n: Sequence[float] | FloatArray, setup: CouponSetup
) -> Coupon:
    """Two lines from a measured curve.

    Args:
        strain: mean over the gauge length, shape (n,).
        load_n: shape (n,).
        setup: mandatory.

    Raises:
        ShapeError, RangeError: a curve from which the points cannot be read.
    """
    x, y = curve(strain, np.asarray(load_n, dtype=np.float64) / setup.area_mm2)
    strength = number("largest stress", float(y.max()), low=0.0, high=10_000.0, above=True)
    low, high = (last_upward_crossing(x, y, share * strength) for share in (0.60, 0.90))
    number("strain at 0.90 less strain at 0.60 of the strength", high - low, low=0.0, above=True)
    cracked = 0.30 * strength / (high - low)
    peak = int(np.argmax(y))
    keep = np.flatnonzero((x[:peak] < low) & (y[:peak] < 0.60 * strength))
    first = _first_line(np.append(x[keep], low), np.append(y[keep], 0.60 * strength), cracked)
    ultimate = low + 0.40 * strength / cracked
    transition = None if first is None else _meeting(first, (low, 0.60 * strength), cracked)
    return Coupon(
        setup, strength * setup.area_mm2, strength, low, high, cracked, ultimate,
        None if first is None or transition is None else first[0], transition,
    )  # fmt: skip


def _first_line(x: FloatArray, y: FloatArray, cracked: float) -> tuple[float, float] | None:
    """Slope and intercept of the line before cracking.

    Of all ways to give the first points to a free line and the rest to the cracked line the one
    with the least squared error; None where that line is hardly steeper.
    """
    if len(x) < 3:
        return None
    count = np.arange(1, len(x) + 1)
    sx, sy = np.cumsum(x), np.cumsum(y)
    xx, xy, yy = np.cumsum(x * x), np.cumsum(x * y), np.cumsum(y * y)
    spread, joint = xx - sx * sx / count, xy - sx * sy / count
    slope = joint / np.where(spread > 0.0, spread, np.inf)
    error = np.maximum(yy - sy * sy / count - slope * joint, 0.0)
    away = (y - (y[-1] + cracked * (x - x[-1]))) ** 2
    rest = away.sum() - np.cumsum(away)
    # A line needs two points, and the last point lies on the cracked line by construction.
    best = 1 + int(np.argmin((error + rest)[1:-1]))
    if slope[best] < _VISIBLE * cracked:
        return None
    return float(slope[best]), float((sy[best] - slope[best] * sx[best]) / count[best])


def _meeting(
    first: tuple[float, float], point: tuple[float, float], cracked: float
) -> tuple[float, float] | None:
    slope, intercept = first
    strain = (point[1] - cracked * point[0] - intercept) / (slope - cracked)
    if not 0.0 < strain < point[0]:
        return None
    return strain, intercept + slope * strain


@dataclass(frozen=True)
class FabricDesign:
    """Design values of a lot from coupons tested alike.

    Attributes:
        count: coupons.
        mean_strain, sd_strain: of the ultimate strains, n − 1.
        design_strain: mean less one standard deviation, at most the cap.
        capped: whether the cap decides.
        modulus_mpa: mean cracked modulus.
        rule: in words, with its source.
    """

    count: int
    mean_strain: float
    sd_strain: float
    design_strain: float
    capped: bool
    modulus_mpa: float
    rule: str

    @property
    def design_strength_mpa(self) -> float:
        """Ef times the design strain."""
        return self.modulus_mpa * self.design_strain


def design_strain(strains: Sequence[float], cap: float) -> tuple[float, float, float]:
    """Mean, sample standard deviation, and mean less one deviation but at most the cap.

    Raises:
        ShapeError: ``coupons.few``, fewer than two strains.
    """
    if len(strains) < 2:
        raise ShapeError(
            "coupons.few",
            f"There are {len(strains)} coupons; allowed are at least 2 for a standard deviation.",
        )
    for value in strains:
        number("ultimate strain", value, low=0.0, high=0.2, above=True)
    mean = math.fsum(strains) / len(strains)
    sd = math.sqrt(math.fsum((value - mean) ** 2 for value in strains) / (len(strains) - 1))
    return mean, sd, min(mean - sd, cap)


def design_values(coupons: Sequence[Coupon], cap: Limit) -> FabricDesign:
    """Design values of coupons tested alike.

    Args:
        coupons: of one lot, same grip, bond length and gauge length.
        cap: largest design strain, with its edition.

    Raises:
        ShapeError: ``coupons.pooled``, coupons tested in different ways; ``coupons.few``.
    """
    pools = {coupon.setup.pool for coupon in coupons}
    if len(pools) > 1:
        shown = "; ".join(
            f"{grip}, bond {bond:g} mm, gauge {gauge:g} mm" for grip, bond, gauge in sorted(pools)
        )
        raise ShapeError(
            "coupons.pooled",
            f"The coupons were tested in {len(pools)} ways ({shown}); allowed is one grip, bond "
            "length and gauge length.",
        )
    strains = [coupon.ultimate_strain for coupon in coupons]
    mean, sd, design = design_strain(strains, cap.value)
    return FabricDesign(
        len(coupons), mean, sd, design, mean - sd > cap.value,
        math.fsum(coupon.cracked_mpa for coupon in coupons) / len(coupons),
        f"mean less one sample standard deviation, at most {cap.value:g}; {cap.source}",
    )  # fmt: skip
