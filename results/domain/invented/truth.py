"""The true load–deflection curve of one invented beam, from simple mechanics of its own.

Nominal strength by the rectangular stress block, stiffness by the gross and the cracked elastic
section, mid-span deflection of four-point bending δ = P a (3L² − 4a²)/(48 E I). What plies,
exposure, sustained load and cycling do is stated in ``parameters``. Loads are those of the
actuator: the moments of self-weight and spreader are taken off. The curve is straight to cracking
and to yield with rounded corners, then curved to the peak, then falls as the mode has it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.invented.parameters import (
    PARAMETERS,
    MemberLaw,
    Mode,
    Parameters,
    Retention,
)

Floats = npt.NDArray[np.float64]
_CORNER_SHARE = 0.3
_ROUNDING = np.linspace(-1.0, 1.0, 33)
_LAST_MM = 3.0


@dataclass(frozen=True)
class BeamTruth:
    """What a beam really does; kN, mm, kN/mm.

    Attributes:
        is_cracked: cycled or held under load before the test, so without a first crack in it.
        crack_load_kn, crack_deflection_mm: end of the uncracked line.
        initial_stiffness_kn_mm: of the uncracked line.
        cracked_stiffness_kn_mm: of the line between crack and yield.
        first_cycle_kn_mm: secant stiffness of the first load cycle, cracked on the way up.
        yield_load_kn, yield_deflection_mm: where the bars yield.
        peak_load_kn, peak_deflection_mm: the largest load.
        after: points (deflection, load) after the peak, the last one ends the test.
        exponent: form of the curve from yield to the peak.
        cycling_loss: stiffness loss at the target number of load cycles.
        yield_strain: of the bars, mm/mm.
    """

    plies: int
    is_cracked: bool
    crack_load_kn: float
    crack_deflection_mm: float
    initial_stiffness_kn_mm: float
    cracked_stiffness_kn_mm: float
    first_cycle_kn_mm: float
    yield_load_kn: float
    yield_deflection_mm: float
    peak_load_kn: float
    peak_deflection_mm: float
    after: tuple[tuple[float, float], ...]
    exponent: float
    cycling_loss: float
    yield_strain: float
    corner_mm: float
    mode: Mode

    @property
    def end_mm(self) -> float:
        """Deflection at the end of the test, mm."""
        return self.after[-1][0]

    def load_at(self, deflection_mm: npt.ArrayLike) -> Floats:
        """Load at deflections from 0 to ``end_mm``, kN, shape as given."""
        at = np.asarray(deflection_mm, dtype=np.float64)
        to_peak = self.peak_deflection_mm - at
        width = np.clip(
            np.minimum(_CORNER_SHARE * at, _CORNER_SHARE * to_peak), 0.0, self.corner_mm
        )
        rising = self._sharp(at[..., None] + width[..., None] * _ROUNDING).mean(axis=-1)
        load: Floats = np.where(to_peak > 0.0, rising, self._falling(at))
        return load

    def deflection_at(self, load_kn: float) -> float:
        """Deflection at which the rising curve reaches a load below the peak, mm."""
        grid = np.linspace(0.0, self.peak_deflection_mm, 4001)
        return float(np.interp(load_kn, self.load_at(grid), grid))

    def bar_strain_at(self, deflection_mm: npt.ArrayLike) -> Floats:
        """Strain of the tension bars while the load grows, mm/mm, shape as given."""
        at = np.asarray(deflection_mm, dtype=np.float64)
        crack = 0.0 if self.is_cracked else self.crack_deflection_mm
        known = (0.0, crack + 1e-9, self.yield_deflection_mm, self.yield_deflection_mm + 100.0)
        strain = (0.0, 6e-5 * (crack > 0.0), self.yield_strain, self.yield_strain + 0.035)
        return np.interp(at, known, strain)

    def fabric_strain_at(self, deflection_mm: npt.ArrayLike) -> Floats:
        """Strain of the fabric at mid-span, mm/mm, shape as given; it lets go after the peak."""
        at = np.asarray(deflection_mm, dtype=np.float64)
        at_yield = 1.3 * self.yield_strain
        known = (0.0, self.yield_deflection_mm, self.peak_deflection_mm, self.after[0][0])
        return np.interp(at, known, (0.0, at_yield, at_yield + 0.006, 0.3 * at_yield))

    def stiffness_ratio(self, cycle: npt.ArrayLike, parameters: Parameters = PARAMETERS) -> Floats:
        """Stiffness at a load cycle over that of the first, no unit, shape as given."""
        law = parameters.cycling
        share: Floats = _settling(cycle, parameters) / _settling(law.target_cycles, parameters)
        return 1.0 - self.cycling_loss * share

    def residual_mm(self, cycle: npt.ArrayLike, parameters: Parameters = PARAMETERS) -> Floats:
        """Deflection left at the minimum load of a load cycle, mm, shape as given."""
        law = parameters.cycling
        share: Floats = _settling(cycle, parameters) / _settling(law.target_cycles, parameters)
        return law.first_residual_mm + law.residual_growth_mm * share

    def _sharp(self, at: Floats) -> Floats:
        """The rising branch with sharp corners."""
        uncracked = self.initial_stiffness_kn_mm * at
        cracked = self.yield_load_kn + self.cracked_stiffness_kn_mm * (
            at - self.yield_deflection_mm
        )
        before_yield = cracked if self.is_cracked else np.minimum(uncracked, cracked)
        left = np.clip(
            (self.peak_deflection_mm - at) / (self.peak_deflection_mm - self.yield_deflection_mm),
            0.0,
            None,
        )
        hardened = (
            self.peak_load_kn
            - (self.peak_load_kn - self.yield_load_kn) * np.minimum(left, 1.0) ** self.exponent
        )
        return np.where(at < self.yield_deflection_mm, before_yield, hardened)

    def _falling(self, at: Floats) -> Floats:
        """After the peak: from point to point, level at each."""
        points = ((self.peak_deflection_mm, self.peak_load_kn), *self.after)
        x, y = (np.array(values) for values in zip(*points, strict=True))
        k = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(x) - 2)
        share = np.clip((at - x[k]) / (x[k + 1] - x[k]), 0.0, 1.0)
        fallen: Floats = y[k] + (y[k + 1] - y[k]) * share**2 * (3.0 - 2.0 * share)
        return fallen


def _settling(cycle: npt.ArrayLike, parameters: Parameters) -> Floats:
    law = parameters.cycling
    since = (np.asarray(cycle, dtype=np.float64) - 1.0) / law.early_cycles
    return 1.0 - (1.0 + since) ** -law.exponent


def concrete_modulus_mpa(fc_mpa: float) -> float:
    """4700 √f'c, MPa (ACI 318, SI form)."""
    return 4700.0 * math.sqrt(fc_mpa)


def nominal_load_kn(member: MemberLaw) -> float:
    """Load of the actuator at nominal flexural strength of the bare beam, kN."""
    tension = member.steel_mm2 * member.fy_mpa
    block = tension / (0.85 * member.fc_mpa * member.b_mm)
    return _actuator_kn(tension * (member.d_mm - block / 2.0) * 1e-6, member)


def cracking_load_kn(member: MemberLaw) -> float:
    """Load of the actuator at a stress of 0.62 √f'c in the gross section, kN."""
    modulus_mm3 = member.b_mm * member.h_mm**2 / 6.0
    return _actuator_kn(0.62 * math.sqrt(member.fc_mpa) * modulus_mm3 * 1e-6, member)


def _actuator_kn(moment_knm: float, member: MemberLaw) -> float:
    """Load for a moment between the load points, less self-weight and spreader, kN."""
    own = member.self_weight_kn * member.span_mm / 8.0 * 1e-3
    return 2.0 * (moment_knm - own) / (member.shear_span_mm * 1e-3) - member.spreader_kn


def _stiffness_kn_mm(inertia_mm4: float, member: MemberLaw) -> float:
    a, length = member.shear_span_mm, member.span_mm
    bending = concrete_modulus_mpa(member.fc_mpa) * inertia_mm4
    return 48.0 * bending / (a * (3.0 * length**2 - 4.0 * a**2)) * 1e-3


def gross_stiffness_kn_mm(member: MemberLaw) -> float:
    """P/δ of the gross section, kN/mm."""
    return _stiffness_kn_mm(member.b_mm * member.h_mm**3 / 12.0, member)


def cracked_stiffness_kn_mm(member: MemberLaw) -> float:
    """P/δ of the elastic cracked section, kN/mm."""
    bars = member.es_mpa / concrete_modulus_mpa(member.fc_mpa) * member.steel_mm2
    x = (math.sqrt(bars**2 + 2.0 * member.b_mm * bars * member.d_mm) - bars) / member.b_mm
    return _stiffness_kn_mm(member.b_mm * x**3 / 3.0 + bars * (member.d_mm - x) ** 2, member)


@dataclass(frozen=True)
class Factors:
    """Of one beam against the mean of its cell; 1 for the mean."""

    capacity: float = 1.0
    crack: float = 1.0
    stiffness: float = 1.0
    cycling_loss: float = 1.0
    peak_deflection: float = 1.0


def _retained(
    exposure: str, parameters: Parameters, *, is_sustained: bool, is_cycled: bool
) -> Retention:
    found = parameters.exposure_law(exposure)
    for happened, law in ((is_sustained, parameters.sustained), (is_cycled, parameters.cycled)):
        if happened:
            found = replace(
                found,
                unstrengthened=found.unstrengthened * law.unstrengthened,
                contribution=found.contribution * law.contribution,
            )
    return found


def cell_truth(
    *,
    plies: int,
    exposure: str,
    is_sustained: bool = False,
    is_cycled: bool = False,
    factors: Factors | None = None,
    parameters: Parameters = PARAMETERS,
) -> BeamTruth:
    """The true curve of a beam of a cell: of its mean, or with the factors of one beam.

    Args:
        plies: a number for which parameters are stated.
        exposure: ``laboratory``, ``wet–dry salt`` or ``freeze–thaw``.
        is_sustained: it was held under load before the test.
        is_cycled: it went through the target number of load cycles before the test.
        factors: of the beam against its cell's mean.
        parameters: see there.

    Raises:
        ShapeError: plies or exposure without parameters.
    """
    factors = factors or Factors()
    member, form, law = parameters.member, parameters.curve, parameters.ply_law(plies)
    left = _retained(exposure, parameters, is_sustained=is_sustained, is_cycled=is_cycled)
    bare = nominal_load_kn(member) * factors.capacity
    alone = bare * form.hardening * left.unstrengthened
    peak = alone + bare * form.hardening * law.capacity_gain * left.contribution
    yields = bare * form.yield_share * (left.unstrengthened + law.yield_gain * left.contribution)
    loss = (law.cycling_loss + left.added_cycling_loss) * factors.cycling_loss
    section = cracked_stiffness_kn_mm(member) * form.cracked_share
    peak_mm = law.peak_deflection_mm * factors.peak_deflection
    first_cycle = section * (1.0 + law.stiffness_gain) * factors.stiffness
    return _Rising(
        crack=cracking_load_kn(member) * form.crack_share * factors.crack,
        initial=gross_stiffness_kn_mm(member) * form.uncracked_share * factors.stiffness,
        yields=yields,
        secant=first_cycle * (1.0 - loss) if is_cycled else first_cycle,
        is_cracked=is_sustained or is_cycled,
    ).truth(
        plies=plies,
        first_cycle_kn_mm=first_cycle,
        peak_load_kn=peak,
        peak_deflection_mm=peak_mm,
        after=_after(peak_mm, law.release_mm, peak, alone, parameters),
        exponent=law.exponent,
        cycling_loss=loss,
        yield_strain=member.yield_strain,
        corner_mm=form.corner_mm,
        mode=law.mode,
    )


@dataclass(frozen=True)
class _Rising:
    """The straight parts of a curve: loads in kN, stiffness in kN/mm, the secant that at yield."""

    crack: float
    initial: float
    yields: float
    secant: float
    is_cracked: bool

    def truth(self, **rest: Any) -> BeamTruth:
        """With the rest of the curve, the truth of a beam."""
        crack_at, yields_at = self.crack / self.initial, self.yields / self.secant
        cracked = (self.yields - self.crack) / (yields_at - crack_at)
        return BeamTruth(
            is_cracked=self.is_cracked,
            crack_load_kn=self.crack,
            crack_deflection_mm=crack_at,
            initial_stiffness_kn_mm=self.initial,
            cracked_stiffness_kn_mm=self.secant if self.is_cracked else cracked,
            yield_load_kn=self.yields,
            yield_deflection_mm=yields_at,
            **rest,
        )


def _after(
    peak_mm: float, release_mm: float, peak: float, alone: float, parameters: Parameters
) -> tuple[tuple[float, float], ...]:
    """Points after the peak: the fabric lets go first where there is one, then the beam crushes."""
    form = parameters.curve
    crushed, residual = form.crushed_share * alone, form.residual_share * alone
    if peak <= alone:
        last = peak_mm + release_mm
        return ((last, crushed), (last + _LAST_MM, crushed * 0.97))
    crushes = max(form.crushes_at_mm, peak_mm + release_mm + 1.0)
    last = crushes + form.crushing_mm
    return (
        (peak_mm + release_mm, residual),
        (crushes, residual * 0.99),
        (last, crushed),
        (last + _LAST_MM, crushed * 0.97),
    )
