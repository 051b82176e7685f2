"""Many curves on one drawing: light enough for a page, every extreme kept, with intervals."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from results.domain.curve import kept_rows
from results.domain.inference.mean import mean_interval

# All curves of a drawing together have about this many points, each some at least.
POINTS_IN_ALL = 24_000
POINTS_MAX, POINTS_MIN = 600, 120
_DIGITS, _SMALLEST = 7, 1e-15


def points_each(curves: int) -> int:
    """About how many points each of so many curves is drawn with."""
    return min(POINTS_MAX, max(POINTS_MIN, POINTS_IN_ALL // max(1, curves)))


def thinned(
    x: Sequence[float], y: Sequence[float], *, at_most: int
) -> tuple[list[float], list[float]]:
    """A curve by its smallest and largest x and y in each of equal runs of rows.

    Args:
        x, y: the curve, rows in which either is not a number are left out.
        at_most: about how many points may stay.

    Returns:
        The points that stay in their order, seven significant digits each: the highest, lowest,
        leftmost and rightmost of the whole curve are among them.
    """
    xs, ys = np.asarray(x, dtype=np.float64), np.asarray(y, dtype=np.float64)
    rows = kept_rows(xs, ys, at_most=at_most)
    return _shown(xs[rows]), _shown(ys[rows])


def _shown(values: npt.NDArray[np.float64]) -> list[float]:
    """Seven significant digits: a whole number over (or times) a power of ten is exact."""
    size = np.abs(values)
    within = np.clip(size, _SMALLEST, None)  # what is smaller is shown by fewer digits
    digits = (_DIGITS - 1) - np.floor(np.log10(within))
    scale = 10.0 ** np.abs(digits)
    shown = np.where(digits >= 0, np.rint(values * scale) / scale, np.rint(values / scale) * scale)
    return [float(value) for value in shown.tolist()]


@dataclass(frozen=True)
class Band:
    """Mean and 95 % interval of a group by load cycle, at cycles that two or more share.

    Attributes:
        at: load cycles, rising.
        mean, low, high: in the unit of the values.
        n: specimens behind the mean, the smallest number along the band first.
    """

    at: tuple[float, ...]
    mean: tuple[float, ...]
    low: tuple[float, ...]
    high: tuple[float, ...]
    n: tuple[int, int]


def band_of(curves: Sequence[Mapping[float, float]]) -> Band | None:
    """The band of a group; None where no two specimens were measured at the same load cycle.

    Args:
        curves: for each specimen its values by load cycle.
    """
    shared: dict[float, list[float]] = {}
    for curve in curves:
        for at, value in curve.items():
            shared.setdefault(at, []).append(value)
    found = [(at, mean_interval(values)) for at, values in sorted(shared.items())]
    kept = [(at, m.mean, m.half, m.n) for at, m in found if m.half is not None]
    if not kept:
        return None
    return Band(
        at=tuple(at for at, _, _, _ in kept),
        mean=tuple(mean for _, mean, _, _ in kept),
        low=tuple(mean - half for _, mean, half, _ in kept),
        high=tuple(mean + half for _, mean, half, _ in kept),
        n=(min(n for *_, n in kept), max(n for *_, n in kept)),
    )
