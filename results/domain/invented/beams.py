"""Every invented beam: when it was cast, where it is tested, and what becomes of it."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from enum import StrEnum

import numpy as np

from results.domain.invented.parameters import PARAMETERS, Parameters
from results.domain.invented.programme import SERIES_CODE, CellSpec, cell_by_code
from results.domain.invented.truth import BeamTruth, Factors, cell_truth

TODAY = datetime(2026, 11, 1, tzinfo=UTC)
_HOUR = time(8, 0, tzinfo=UTC)


class Fate(StrEnum):
    """What has become of a beam by the day on which the story stands still."""

    BROKEN = "broken"
    NOT_CAST = "planned, not cast"
    UNDER_EXPOSURE = "under exposure"
    CYCLING = "cycling"
    FAILED_IN_CYCLING = "failed in cycling"
    LOST = "lost"


@dataclass(frozen=True)
class PourSpec:
    """One batch of concrete: days before ``TODAY`` and cylinder strength at 28 days."""

    code: str
    days_before: int
    fc_mpa: float

    @property
    def cast_on(self) -> datetime:
        """Morning of the pour."""
        return datetime.combine(TODAY.date(), _HOUR) - timedelta(days=self.days_before)


POURS = {
    pour.code: pour
    for pour in (
        PourSpec("QC-01", 293, 31.4),
        PourSpec("QC-02", 286, 30.6),
        PourSpec("QC-03", 237, 32.1),
        PourSpec("QC-04", 195, 30.2),
        PourSpec("QC-05", 153, 31.0),
        PourSpec("QC-06", 118, 31.7),
    )
}


@dataclass(frozen=True)
class BeamSpec:
    """One beam of the plan.

    Attributes:
        cell: code of its cell.
        number: within the cell.
        pour: code of its batch of concrete.
        test_day: days from casting to the break test (to the start of cycling where it is cycled).
        rig: where it is tested.
        fate: see ``Fate``.
        exposed_days: how long it was in the chamber, where not as planned.
    """

    cell: str
    number: int
    pour: str
    test_day: int
    rig: str
    fate: Fate = Fate.BROKEN
    exposed_days: int | None = None

    @property
    def code(self) -> str:
        """As on its label."""
        return f"{SERIES_CODE}-{self.cell}-{self.number:02d}"

    @property
    def spec(self) -> CellSpec:
        """Its cell."""
        return cell_by_code(self.cell)

    @property
    def cast_at(self) -> datetime:
        """When its concrete was placed; twenty minutes a beam."""
        order = [beam.code for beam in BEAMS if beam.pour == self.pour].index(self.code)
        return POURS[self.pour].cast_on + timedelta(minutes=20 * order)

    def day(self, days: float, hour: float = 9.0) -> datetime:
        """An hour (UTC) of a day after casting."""
        morning = datetime.combine(POURS[self.pour].cast_on.date(), time(tzinfo=UTC))
        return morning + timedelta(days=days, hours=hour)


BEAMS = (
    BeamSpec("P0-LAB-S0-M", 1, "QC-01", 148, "TEST-1"),
    BeamSpec("P0-LAB-S0-M", 2, "QC-01", 149, "TEST-1"),
    BeamSpec("P0-LAB-S0-M", 3, "QC-02", 149, "TEST-2"),
    BeamSpec("P1-LAB-S0-M", 1, "QC-01", 150, "TEST-1"),
    BeamSpec("P1-LAB-S0-M", 2, "QC-01", 150, "TEST-1", Fate.LOST),
    BeamSpec("P2-LAB-S0-M", 1, "QC-01", 151, "TEST-1"),
    BeamSpec("P2-LAB-S0-M", 2, "QC-02", 150, "TEST-2"),
    BeamSpec("P2-LAB-S0-M", 3, "QC-02", 151, "TEST-2"),
    BeamSpec("P4-LAB-S0-M", 1, "QC-01", 152, "TEST-1"),
    BeamSpec("P4-LAB-S0-M", 2, "QC-02", 152, "TEST-2"),
    BeamSpec("P0-SALT-S0-M", 1, "QC-03", 149, "TEST-1"),
    BeamSpec("P0-SALT-S0-M", 2, "QC-03", 149, "TEST-2", exposed_days=75),
    BeamSpec("P2-SALT-S0-M", 1, "QC-03", 150, "TEST-1"),
    BeamSpec("P2-SALT-S0-M", 2, "QC-03", 150, "TEST-2"),
    BeamSpec("P4-SALT-S0-M", 1, "QC-03", 151, "TEST-1"),
    BeamSpec("P0-FROST-S0-M", 1, "QC-03", 151, "TEST-2"),
    BeamSpec("P0-FROST-S0-M", 2, "QC-03", 152, "TEST-1"),
    BeamSpec("P2-FROST-S0-M", 1, "QC-03", 152, "TEST-2"),
    BeamSpec("P2-FROST-S0-M", 2, "QC-06", 150, "TEST-1", Fate.UNDER_EXPOSURE),
    BeamSpec("P0-SALT-S40-M", 1, "QC-04", 150, "TEST-1"),
    BeamSpec("P2-SALT-S40-M", 1, "QC-04", 151, "TEST-2"),
    BeamSpec("P2-SALT-S40-M", 2, "QC-06", 150, "TEST-1", Fate.NOT_CAST),
    BeamSpec("P0-LAB-S0-C", 1, "QC-01", 143, "RIG-1"),
    BeamSpec("P2-LAB-S0-C", 1, "QC-02", 144, "RIG-1"),
    BeamSpec("P2-LAB-S0-C", 2, "QC-05", 150, "RIG-1", Fate.CYCLING),
    BeamSpec("P2-SALT-S0-C", 1, "QC-03", 148, "RIG-1", Fate.FAILED_IN_CYCLING),
)


def seed_for(seed: int, *names: str) -> int:
    """A seed for one thing of the story, the same whatever else is in it."""
    text = "\n".join((str(seed), *names))
    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:6], "big")


@dataclass(frozen=True)
class BeamMade:
    """A beam with what chance gave it.

    Attributes:
        plan: see ``BeamSpec``.
        truth: its curve in the break test, and how its stiffness goes in load cycles before.
        measured: geometry and strength as measured, the unit in each name.
    """

    plan: BeamSpec
    truth: BeamTruth
    measured: dict[str, float]


def beam_made(plan: BeamSpec, seed: int, parameters: Parameters = PARAMETERS) -> BeamMade:
    """The beam of a plan, with its scatter drawn from the story's seed.

    Args:
        plan: which.
        seed: of the story.
        parameters: see there.
    """
    law, member = parameters.scatter, parameters.member
    rng = np.random.default_rng(seed_for(seed, plan.code, "scatter"))
    capacity, crack, stiffness, loss, peak, depth = rng.standard_normal(6).clip(-2, 2).tolist()
    deeper_mm = round(law.depth_mm * depth, 1)
    factors = Factors(
        capacity=(1.0 + law.capacity * capacity) * (1.0 + deeper_mm / member.d_mm),
        crack=1.0 + law.crack * crack,
        stiffness=1.0 + law.stiffness * stiffness,
        cycling_loss=1.0 + law.cycling_loss * loss,
        peak_deflection=1.0 + law.peak_deflection * peak,
    )
    cell = plan.spec
    truth = cell_truth(
        plies=cell.plies,
        exposure=cell.exposure,
        is_sustained=cell.is_sustained,
        is_cycled=cell.is_cycled,
        factors=factors,
        parameters=parameters,
    )
    measured = {
        "b_mm": member.b_mm + round(float(rng.normal(0.0, 0.6)), 1),
        "h_mm": member.h_mm + round(float(rng.normal(0.0, 0.8)), 1),
        "d_mm": member.d_mm + deeper_mm,
    }
    return BeamMade(plan, truth, measured)
