"""What to set on the rig before a member is broken or cycled, proposed for a person to sign.

The margins are common practice and no rule: the laboratory's own checklist comes first, and
nothing is set by being proposed.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# Above the load that nineteen of twenty such members do not exceed.
LOAD_TRIP = 1.10
# Above the predicted deflection at the ultimate load: a member that hardens goes on.
DEFLECTION_TRIP = 1.50
# Above the largest load of a cycle, and above the deflection predicted there.
CYCLE_LOAD_TRIP = 1.05
CYCLE_DEFLECTION_TRIP = 1.40
# Share of the predicted ultimate load above which nobody approaches the member.
LAST_APPROACH = 0.60
ORIGIN = "common practice"


@dataclass(frozen=True)
class Expected:
    """What a member is expected to do; loads of the actuator in kN, deflections in mm.

    Attributes:
        cracking_kn, yield_kn: None where it does not happen.
        ultimate_kn: predicted.
        upper_kn: that 95 % of such members do not exceed; the ultimate load where unknown.
        ultimate_mm: deflection at the predicted ultimate load.
        cycle_kn, cycle_mm: largest load of a cycle and the deflection there, None without cycling.
    """

    cracking_kn: float | None
    yield_kn: float | None
    ultimate_kn: float
    upper_kn: float
    ultimate_mm: float
    cycle_kn: float | None = None
    cycle_mm: float | None = None


@dataclass(frozen=True)
class Proposal:
    """One setting: its words, value and unit, and the rule by which it was found."""

    words: str
    value: float
    unit: str
    rule: str


def trips_proposed(expected: Expected) -> tuple[Proposal, ...]:
    """Load and displacement trips, each with its rule.

    Args:
        expected: see there.
    """
    upper = max(expected.upper_kn, expected.ultimate_kn)
    found = [
        Proposal(
            "Load trip, break test",
            _up(LOAD_TRIP * upper, 1.0),
            "kN",
            f"{LOAD_TRIP:g} of the load that 95 % of such members do not exceed, {upper:.1f} kN",
        ),
        Proposal(
            "Displacement trip, break test",
            _up(DEFLECTION_TRIP * expected.ultimate_mm, 1.0),
            "mm",
            f"{DEFLECTION_TRIP:g} of the predicted deflection at the ultimate load, "
            f"{expected.ultimate_mm:.1f} mm",
        ),
    ]
    if expected.cycle_kn is not None and expected.cycle_mm is not None:
        found += [
            Proposal(
                "Load trip, cycling",
                _up(CYCLE_LOAD_TRIP * expected.cycle_kn, 0.5),
                "kN",
                f"{CYCLE_LOAD_TRIP:g} of the largest load of a cycle, {expected.cycle_kn:.1f} kN",
            ),
            Proposal(
                "Displacement trip, cycling",
                _up(CYCLE_DEFLECTION_TRIP * expected.cycle_mm, 0.5),
                "mm",
                f"{CYCLE_DEFLECTION_TRIP:g} of the predicted deflection at that load, "
                f"{expected.cycle_mm:.1f} mm: room for the stiffness that cycling takes",
            ),
        ]
    return tuple(found)


def holds_proposed(expected: Expected) -> tuple[Proposal, ...]:
    """Loads at which to hold and mark cracks, the last one up to which a person may approach.

    Args:
        expected: see there.
    """
    found: list[Proposal] = []
    last = _down(LAST_APPROACH * expected.ultimate_kn, 0.5)
    if expected.cracking_kn is not None and 0.0 < expected.cracking_kn < last:
        found.append(
            Proposal(
                "First hold", _up(1.1 * expected.cracking_kn, 0.5), "kN",
                f"just above the predicted cracking load, {expected.cracking_kn:.1f} kN",
            )
        )  # fmt: skip
    found.append(
        Proposal(
            "Last hold with approach", last, "kN",
            f"{LAST_APPROACH:g} of the predicted ultimate load, {expected.ultimate_kn:.1f} kN: "
            "nobody goes nearer above it",
        )
    )  # fmt: skip
    if expected.yield_kn is not None and last < expected.yield_kn < expected.ultimate_kn:
        found.append(
            Proposal(
                "Hold without approach", _down(0.9 * expected.yield_kn, 0.5), "kN",
                f"before the bars yield, predicted at {expected.yield_kn:.1f} kN: photographs only",
            )
        )  # fmt: skip
    return tuple(hold for hold in found if hold.value > 0.0)


def _up(value: float, step: float) -> float:
    return math.ceil(round(value / step, 6)) * step


def _down(value: float, step: float) -> float:
    return math.floor(round(value / step, 6)) * step
