"""How far measured strengths lie from predicted ones: ratios, their mean and scatter."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Published:
    """A published ratio to compare with; it never enters a computation.

    Attributes:
        mean: test / prediction.
        s: standard deviation of the ratio.
        n: number of members.
        source: where it was published.
    """

    mean: float
    s: float
    n: int
    source: str


# The standard deviation is published as 11 %, taken here as 0.11 of the ratio.
PUBLISHED = Published(1.07, 0.11, 14, "Ebead et al. 2019, ACI Struct. J. 116(2)")


@dataclass(frozen=True)
class Ratio:
    """One broken member against its prediction.

    Attributes:
        specimen: its code.
        cell: its cell's code.
        mode: governing mode as predicted.
        measured_knm: largest mid-span moment, with self-weight and spreader, kN·m.
        predicted_knm: with measured section and material values and φ = 1, kN·m.
        is_bound: the test stopped before its peak, so that the ratio is a lower bound.
        is_conditioned: exposed, held or cycled before: its ratio holds what that took away, too.
    """

    specimen: str
    cell: str
    mode: str
    measured_knm: float
    predicted_knm: float
    is_bound: bool = False
    is_conditioned: bool = False

    @property
    def value(self) -> float:
        """Measured / predicted, no unit."""
        return self.measured_knm / self.predicted_knm


@dataclass(frozen=True)
class RatioGroup:
    """Ratios of several members.

    Attributes:
        name: what they have in common.
        n: how many count; lower bounds do not.
        mean: None for n = 0.
        s: sample standard deviation (n − 1), None below n = 2.
        left_out: lower bounds that do not count.
    """

    name: str
    n: int
    mean: float | None
    s: float | None
    left_out: int

    @property
    def cov(self) -> float | None:
        """s / mean, no unit; None below n = 2."""
        return None if self.s is None or self.mean is None else self.s / self.mean


def ratio_group(name: str, ratios: Sequence[Ratio]) -> RatioGroup:
    """Mean and scatter of ratios.

    Args:
        name: of the group.
        ratios: any number, lower bounds among them.
    """
    values = [ratio.value for ratio in ratios if not ratio.is_bound]
    return RatioGroup(
        name=name,
        n=len(values),
        mean=statistics.fmean(values) if values else None,
        s=statistics.stdev(values) if len(values) > 1 else None,
        left_out=len(ratios) - len(values),
    )


def ratio_groups(
    ratios: Sequence[Ratio], key: Callable[[Ratio], str], order: Sequence[str] = ()
) -> tuple[RatioGroup, ...]:
    """One group for each value of a key.

    Args:
        ratios: any number.
        key: what members of one group share.
        order: names in the order wanted; others follow by name.
    """
    names = sorted({key(ratio) for ratio in ratios})
    place = {name: at for at, name in enumerate(order)}
    names.sort(key=lambda name: place.get(name, len(place)))
    return tuple(ratio_group(n, [r for r in ratios if key(r) == n]) for n in names)
