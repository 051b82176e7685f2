"""Stiffness over load cycles, put together from all cyclic records of one specimen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class StiffnessAt:
    """Secant stiffness at a load cycle, kN/mm, and where it comes from."""

    cycle: int
    stiffness_kn_mm: float
    metric_id: str = ""


@dataclass(frozen=True)
class Degraded:
    """Stiffness at a load cycle as a share of the reference: ratio k/k_ref, loss 1 − ratio."""

    cycle: int
    stiffness_kn_mm: float
    ratio: float
    loss: float
    metric_id: str
    reference_cycle: int
    reference_metric_id: str


def degradation(points: Sequence[StiffnessAt]) -> tuple[Degraded, ...]:
    """Ratios to the first cycle that was measured, in the order of load cycles.

    Where two records measured the same cycle, the first given counts. The reference is the
    earliest cycle of the whole life, whichever record holds it: a record's own first cycle is no
    reference once the specimen was cycled before.

    Raises:
        ValueError: a reference stiffness of zero or below.
    """
    first: dict[int, StiffnessAt] = {}
    for point in points:
        first.setdefault(point.cycle, point)
    ordered = [first[cycle] for cycle in sorted(first)]
    if not ordered:
        return ()
    reference = ordered[0]
    if reference.stiffness_kn_mm <= 0:
        raise ValueError(f"the stiffness at cycle {reference.cycle} is not above zero")
    return tuple(
        Degraded(
            cycle=p.cycle,
            stiffness_kn_mm=p.stiffness_kn_mm,
            ratio=p.stiffness_kn_mm / reference.stiffness_kn_mm,
            loss=1.0 - p.stiffness_kn_mm / reference.stiffness_kn_mm,
            metric_id=p.metric_id,
            reference_cycle=reference.cycle,
            reference_metric_id=reference.metric_id,
        )
        for p in ordered
    )
