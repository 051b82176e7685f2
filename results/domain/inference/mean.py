"""The mean of a few specimens with its confidence interval."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class MeanInterval:
    """A mean and the interval that holds the true one, in the values' unit.

    Attributes:
        n: number of values.
        mean: their mean.
        half: half of the interval's width; None for one value, which has no scatter.
    """

    n: int
    mean: float
    half: float | None


def mean_interval(values: Sequence[float], *, level: float = 0.95) -> MeanInterval:
    """Mean ± t · s/√n with n − 1 degrees of freedom (Student 1908), for normal scatter.

    Args:
        values: one a specimen, at least one.
        level: confidence, above 0 and below 1.

    Raises:
        ValueError: no values.
    """
    from scipy import stats

    if not values:
        raise ValueError("a mean needs at least one value")
    n, mean = len(values), statistics.fmean(values)
    if n == 1:
        return MeanInterval(1, mean, None)
    t = float(stats.t.ppf(0.5 + level / 2.0, n - 1))
    return MeanInterval(n, mean, t * statistics.stdev(values) / math.sqrt(n))
