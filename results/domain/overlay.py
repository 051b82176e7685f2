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
_DIGITS = 7
_PLAIN = (1e-9, 1e15)  # between these powers of ten are exact where they are needed
_HALFWAY = 1e-6


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
    """Seven significant digits, as text of seven digits read back would be.

    A whole number over (or times) a power of ten is that very number, all at once; what is
    halfway, tiny or huge goes through text.
    """
    size = np.abs(values)
    plain = (size >= _PLAIN[0]) & (size < _PLAIN[1])
    digits = (_DIGITS - 1) - np.floor(np.log10(np.where(plain, size, 1.0)))
    scale = 10.0 ** np.abs(digits)
    scaled = np.where(digits >= 0, values * scale, values / scale)
    whole = np.rint(scaled)
    shown = np.where(digits >= 0, whole / scale, whole * scale)
    by_text = ~plain | (np.abs(np.abs(scaled - whole) - 0.5) < _HALFWAY)
    for place in np.flatnonzero(by_text & (values != 0.0)).tolist():
        shown[place] = float(f"{values[place]:.{_DIGITS}g}")
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
