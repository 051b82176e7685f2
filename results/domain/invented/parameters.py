"""Every number behind the invented measurements. Change one here and the whole story follows.

Orders of magnitude are those that programmes of this trade report (common practice, no source):
strength gains of 25 to 60 %, a stiffness loss of 10 to 30 % that comes early and settles, slip
with one and two plies, debonding with four. The fabric and the laboratory are invented.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

from labmatrix.kernel.errors import ShapeError

LABORATORY, SALT, FROST = "laboratory", "wet–dry salt", "freeze–thaw"
DEFAULT_SEED = 20_261_101


@dataclass(frozen=True)
class MemberLaw:
    """The beam as specified: mm, MPa and kN, four-point bending."""

    b_mm: float = 200.0
    h_mm: float = 300.0
    d_mm: float = 260.0
    bar_count: int = 3
    bar_diameter_mm: float = 12.0
    span_mm: float = 2400.0
    shear_span_mm: float = 900.0
    fc_mpa: float = 30.0
    fy_mpa: float = 420.0
    es_mpa: float = 200_000.0
    unit_weight_kn_m3: float = 24.0
    spreader_kn: float = 0.35
    fabric_area_mm2_per_ply: float = 10.0
    fabric_ef_mpa: float = 128_000.0
    fabric_design_strain: float = 0.012

    @property
    def steel_mm2(self) -> float:
        """Area of the tension bars, mm²."""
        return self.bar_count * math.pi * self.bar_diameter_mm**2 / 4.0

    @property
    def self_weight_kn(self) -> float:
        """Weight of the beam between its supports, kN."""
        return self.unit_weight_kn_m3 * self.b_mm * self.h_mm * self.span_mm * 1e-9

    @property
    def yield_strain(self) -> float:
        """Strain at which the bars yield, mm/mm."""
        return self.fy_mpa / self.es_mpa


@dataclass(frozen=True)
class Mode:
    """How a beam fails: letter in a named scheme (A to D as bond tests use them), and words."""

    scheme: str
    letter: str
    words: str

    def as_dict(self) -> dict[str, str]:
        """As an event's payload has it."""
        return {"scheme": self.scheme, "letter": self.letter, "words": self.words}


CRUSHES = Mode("member", "", "bars yielded, then the concrete crushed between the load points")
SLIPS = Mode("bond planes A to D", "D", "bars yielded, then the fabric slipped in the matrix")
DEBONDS = Mode(
    "bond planes A to D",
    "B",
    "the matrix came off the concrete from a crack under the load point to the end of the fabric",
)
BAR_BREAKS = Mode(
    "member", "", "a corner bar broke in fatigue at a corrosion pit; the fabric then slipped"
)


@dataclass(frozen=True)
class PlyLaw:
    """What a number of plies does to a beam kept in the laboratory.

    Attributes:
        capacity_gain, yield_gain, stiffness_gain: over the unstrengthened beam, mean, no unit.
        peak_deflection_mm: mid-span deflection at the peak.
        release_mm: further deflection over which the fabric (or the concrete) lets go.
        exponent: form of the curve from yield to the peak, above 1; the larger the flatter.
        cycling_loss: stiffness loss after the target number of load cycles, mean, no unit.
    """

    capacity_gain: float
    yield_gain: float
    stiffness_gain: float
    peak_deflection_mm: float
    release_mm: float
    exponent: float
    cycling_loss: float
    mode: Mode


@dataclass(frozen=True)
class Retention:
    """What is left after a conditioning, mean, as shares of the laboratory value.

    Attributes:
        unstrengthened: of the beam without fabric.
        contribution: of what the fabric adds.
        added_cycling_loss: stiffness loss in cycling on top of that of the plies.
    """

    unstrengthened: float
    contribution: float
    added_cycling_loss: float = 0.0


@dataclass(frozen=True)
class ScatterLaw:
    """Coefficients of variation between beams, no unit, and of the depth of the bars in mm."""

    capacity: float = 0.022
    crack: float = 0.06
    stiffness: float = 0.03
    cycling_loss: float = 0.05
    peak_deflection: float = 0.06
    depth_mm: float = 1.5


@dataclass(frozen=True)
class CurveLaw:
    """Form of the load–deflection curve beside the capacity.

    Attributes:
        hardening: peak of the unstrengthened beam over its nominal strength.
        yield_share: yield load of it over its nominal strength.
        crack_share: first crack over that of the gross section (shrinkage is restrained).
        uncracked_share: initial stiffness over that of the gross section.
        cracked_share: secant stiffness at yield over that of the cracked section.
        residual_share: load left once the fabric has let go, over the peak of the beam without it.
        crushes_at_mm: deflection at which a beam crushes whose fabric has let go before.
        crushing_mm: further deflection in which it loses ``1 − crushed_share`` of its load.
        crushed_share: load left after crushing.
        corner_mm: half width over which corners are rounded, at most.
    """

    hardening: float = 1.05
    yield_share: float = 0.96
    crack_share: float = 0.85
    uncracked_share: float = 0.75
    cracked_share: float = 1.05
    residual_share: float = 0.92
    crushes_at_mm: float = 32.0
    crushing_mm: float = 6.0
    crushed_share: float = 0.68
    corner_mm: float = 0.4


@dataclass(frozen=True)
class CyclingLaw:
    """Load cycling of every cycled beam: kN, Hz, and how stiffness goes.

    The loss at cycle N is the loss at the target times g(N)/g(target) with
    g(N) = 1 − (1 + (N − 1)/``early_cycles``)^−``exponent``: most of it early, then it settles.
    """

    minimum_kn: float = 8.0
    maximum_kn: float = 40.0
    frequency_hz: float = 4.0
    target_cycles: int = 2_000_000
    early_cycles: float = 200.0
    exponent: float = 0.35
    first_residual_mm: float = 0.85
    residual_growth_mm: float = 0.60
    lag_rad: float = 0.04
    load_error: float = 0.004
    samples_per_cycle: int = 100
    edge_share: float = 0.03


@dataclass(frozen=True)
class SignalLaw:
    """What the measuring chain adds. Standard deviations of white noise, drifts per hour.

    ``settling_mm`` and ``settling_kn`` are bedding of a support, ``toe_mm`` and ``toe_kn`` that of
    the beam on its rollers, which no settlement channel sees: both follow 1 − exp(−P/kn).
    """

    load_kn: float = 0.05
    deflection_mm: float = 0.003
    settlement_mm: float = 0.002
    strain: float = 3e-6
    load_drift_kn_h: float = 0.03
    deflection_drift_mm_h: float = 0.01
    strain_drift_h: float = 4e-6
    load_zero_kn: float = 0.4
    deflection_zero_mm: float = 2.0
    strain_zero: float = 150e-6
    support_kn_mm: float = 160.0
    settling_mm: float = 0.05
    settling_kn: float = 1.5
    toe_mm: float = 0.10
    toe_kn: float = 1.2
    gauge_lost_share: float = 0.25
    gauge_lost_at: float = 0.006


@dataclass(frozen=True)
class ProcedureLaw:
    """How a break test is driven: by deflection, with a preload and one unloading."""

    rest_s: float = 25.0
    preload_kn: float = 4.0
    preload_hold_s: float = 10.0
    seated_kn: float = 0.3
    slow_mm_s: float = 0.015
    fast_mm_s: float = 0.05
    fast_from: float = 1.1
    unload_share: float = 0.55
    unload_to_kn: float = 10.0
    unload_stiffening: float = 1.25
    hysteresis_kn: float = 0.5


def _plies() -> Mapping[int, PlyLaw]:
    return MappingProxyType(
        {
            0: PlyLaw(0.0, 0.0, 0.0, 33.0, 6.0, 2.0, 0.21, CRUSHES),
            1: PlyLaw(0.12, 0.05, 0.03, 20.0, 7.0, 2.0, 0.18, SLIPS),
            2: PlyLaw(0.27, 0.10, 0.06, 18.0, 6.0, 2.0, 0.15, SLIPS),
            4: PlyLaw(0.43, 0.18, 0.12, 13.0, 0.3, 1.5, 0.12, DEBONDS),
        }
    )


def _exposures() -> Mapping[str, Retention]:
    return MappingProxyType(
        {
            LABORATORY: Retention(1.0, 1.0),
            SALT: Retention(0.96, 0.78, added_cycling_loss=0.05),
            FROST: Retention(0.975, 0.88, added_cycling_loss=0.03),
        }
    )


@dataclass(frozen=True)
class Parameters:
    """All of them."""

    member: MemberLaw = field(default_factory=MemberLaw)
    curve: CurveLaw = field(default_factory=CurveLaw)
    plies: Mapping[int, PlyLaw] = field(default_factory=_plies)
    exposures: Mapping[str, Retention] = field(default_factory=_exposures)
    sustained: Retention = Retention(0.995, 0.93)
    cycled: Retention = Retention(0.985, 0.95)
    scatter: ScatterLaw = field(default_factory=ScatterLaw)
    cycling: CyclingLaw = field(default_factory=CyclingLaw)
    signal: SignalLaw = field(default_factory=SignalLaw)
    procedure: ProcedureLaw = field(default_factory=ProcedureLaw)

    def ply_law(self, plies: int) -> PlyLaw:
        """What a number of plies does.

        Raises:
            ShapeError: ``invented.plies`` for a number without parameters.
        """
        if plies not in self.plies:
            raise ShapeError(
                "invented.plies",
                f"{plies} plies were asked for; parameters are stated for "
                f"{', '.join(map(str, self.plies))}.",
            )
        return self.plies[plies]

    def exposure_law(self, exposure: str) -> Retention:
        """What an exposure leaves.

        Raises:
            ShapeError: ``invented.exposure`` for one without parameters.
        """
        if exposure not in self.exposures:
            raise ShapeError(
                "invented.exposure",
                f"The exposure {exposure!r} was asked for; parameters are stated for "
                f"{', '.join(self.exposures)}.",
            )
        return self.exposures[exposure]


PARAMETERS = Parameters()
