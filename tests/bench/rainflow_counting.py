"""Rainflow of a long history against the ``rainflow`` package: equal counts, equal damage."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import numpy.typing as npt
import rainflow as reference

from results.domain.reduction.counting import rainflow
from tests.bench.harness import Bench, Goal, interleaved, scaled

# A slope of welded and prestressing steel; high enough that a wrong large range would show.
EXPONENT = 5.0


def history(points: int) -> npt.NDArray[np.float64]:
    """Variable-amplitude load, shape (points,): two rhythms and noise, so that most ranges close.

    It begins and ends at its mean, so that no single half cycle at an edge carries the damage.
    """
    rng = np.random.default_rng(20260331)
    at = np.arange(points)
    rhythms = 40.0 * np.sin(at / 7.0) * (1.0 + 0.3 * np.sin(at / 900.0))
    made: npt.NDArray[np.float64] = 60.0 + rhythms + rng.normal(0.0, 6.0, points)
    return made


def reference_counts(values: npt.NDArray[np.float64]) -> dict[float, float]:
    """Sum of counts for each range, by the package."""
    sums: defaultdict[float, float] = defaultdict(float)
    for extent, _, count, _, _ in reference.extract_cycles(values):
        sums[float(extent)] += count
    return dict(sums)


def main() -> None:
    """One row."""
    bench = Bench("rainflow_counting", versions=("rainflow", "numba"), repeats=15)
    values = history(scaled(1_000_000, 40_000))
    runs = interleaved(
        {
            "ours": lambda: rainflow(values),
            "rainflow": lambda: list(reference.extract_cycles(values)),
        },
        repeats=bench.repeats,
        warm=True,
    )
    ours, sums = runs.values["ours"], reference_counts(values)
    damage = sum(count * extent**EXPONENT for extent, count in sums.items())
    share = ours.half_cycle_share(EXPONENT)
    off = abs(ours.power_sum(EXPONENT) / damage - 1.0)
    bench.ratio(
        "rainflow-speed",
        f"Rainflow of {len(values):,} points, times faster than the `rainflow` package",
        runs,
        of="rainflow",
        to="ours",
        goal=Goal("A4", 40.0, at_most=False),
        facts={
            "counted ranges": f"{float(np.sum(ours.counts)):,}",
            f"share of the half cycles in the damage (m = {EXPONENT:g})": f"{share:.2%}",
            "damage differs by": f"{off:.1e}",
        },
        claims={
            "the same count for every range": ours.by_range() == sums,
            "damage within 1e-9": off <= 1e-9,
            "half cycles carry less than 10 % of the damage": share < 0.1,
        },
    )
    bench.end()


if __name__ == "__main__":
    main()
