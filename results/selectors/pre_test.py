"""What to set on the rig before a specimen is tested, from its prediction."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from results.domain.pre_test import (
    ORIGIN,
    Expected,
    Proposal,
    holds_proposed,
    trips_proposed,
)
from results.models import Prediction


@dataclass(frozen=True)
class PreTest:
    """Proposals for a person to sign, and the kinds of work whose cautions belong above them."""

    trips: tuple[Proposal, ...]
    holds: tuple[Proposal, ...]
    hazards: tuple[str, ...]
    origin: str = ORIGIN


def _value(found: Mapping[str, Any], name: str) -> float | None:
    quantity = found.get(name)
    return float(quantity["value"]) if quantity else None


def pre_test_get(prediction: Prediction) -> PreTest:
    """Trips and hold loads from a prediction that has no error.

    Args:
        prediction: of the specimen, or of its cell before anything was measured.
    """
    outcome = prediction.outcome
    cycling = outcome.get("cycling") or {}
    ultimate = float(outcome["ultimate_load"]["value"])
    expected = Expected(
        cracking_kn=_value(outcome, "cracking_load"),
        yield_kn=_value(outcome, "yield_load"),
        ultimate_kn=ultimate,
        upper_kn=_value(outcome.get("spread") or {}, "upper_load") or ultimate,
        ultimate_mm=float(outcome["ultimate_deflection"]["value"]),
        cycle_kn=_value(cycling, "largest_load"),
        cycle_mm=_value(cycling, "largest_deflection"),
    )
    hazards = ["test-to-failure", "lifting"]
    hazards += ["cycling"] if outcome.get("cycling") else []
    hazards += ["sustained"] if outcome.get("sustained") else []
    return PreTest(trips_proposed(expected), holds_proposed(expected), tuple(hazards))
