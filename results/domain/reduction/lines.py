"""Straight lines through a curve, by least squares along the deflection.

The squares are integrated over the deflection, the curve taken as straight between its samples.
A line therefore does not depend on how densely the record was sampled, and piecewise straight
curves give exact lines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from results.domain.reduction.outcome import Floats

_GRID = 400
_SIDE = 4
_SKIP = 0.1


@dataclass(frozen=True, slots=True)
class Line:
    """load = at_zero + slope · deflection, in kN, kN/mm and mm."""

    at_zero: float
    slope: float

    def __call__(self, deflection: float) -> float:
        return self.at_zero + self.slope * deflection

    def meets(self, other: Line) -> float | None:
        """Deflection where two lines meet, mm; None for parallels."""
        if self.slope == other.slope:
            return None
        return (other.at_zero - self.at_zero) / (self.slope - other.slope)


@dataclass(frozen=True, slots=True)
class Pair:
    """Two lines that follow a curve, one after the other.

    Attributes:
        first, second: each fitted to its side without the tenth next to the change.
        at: deflection where they meet, mm.
        change: deflection of the best change, mm.
        better: root mean square by which the pair follows the curve better than one line, kN.
    """

    first: Line
    second: Line
    at: float
    change: float
    better: float


def _moments(x: Floats, y: Floats, grid: Floats) -> Floats:
    """Integrals of 1, x, x², y, xy, y² from grid[0] to each grid point; shape (6, m)."""
    inside = (x > grid[0]) & (x < grid[-1])
    order = np.argsort(np.concatenate([x[inside], grid]), kind="stable")
    xs = np.concatenate([x[inside], grid])[order]
    ys = np.concatenate([y[inside], np.interp(grid, x, y)])[order]
    h, x0, x1, y0, y1 = np.diff(xs), xs[:-1], xs[1:], ys[:-1], ys[1:]
    pieces = np.stack(
        [
            h,
            h * (x0 + x1) / 2.0,
            h * (x0 * x0 + x0 * x1 + x1 * x1) / 3.0,
            h * (y0 + y1) / 2.0,
            h * (2.0 * x0 * y0 + x0 * y1 + x1 * y0 + 2.0 * x1 * y1) / 6.0,
            h * (y0 * y0 + y0 * y1 + y1 * y1) / 3.0,
        ]
    )
    sums = np.concatenate([np.zeros((6, 1)), np.cumsum(pieces, axis=1)], axis=1)
    is_grid = order >= int(inside.sum())
    picked: Floats = sums[:, is_grid]
    return picked


def _fit(m: Floats) -> tuple[Floats, Floats, Floats]:
    """Level at mean x, slope and squared misfit of lines from moments of shape (6, …)."""
    length = m[0]
    mean_x, mean_y = m[1] / length, m[3] / length
    sxx = m[2] - length * mean_x**2
    sxy = m[4] - length * mean_x * mean_y
    syy = m[5] - length * mean_y**2
    slope = sxy / sxx
    return mean_y - slope * mean_x, slope, np.maximum(syy - slope * sxy, 0.0)


def line_between(x: Floats, y: Floats, start: float, stop: float) -> Line | None:
    """The least-squares line through a curve between two deflections; None without length."""
    if not stop > start:
        return None
    moments = _moments(x - start, y, np.array([0.0, stop - start]))[:, 1]
    level, slope, _ = _fit(moments)
    return Line(float(level - slope * start), float(slope))


def pair_between(x: Floats, y: Floats, start: float, stop: float) -> Pair | None:
    """The two lines that follow a curve best between two deflections.

    The change is sought on 400 equal steps of the deflection, four of them at least on each side.

    Args:
        x, y: the curve, mm (never falling) and kN, shape (n,).
        start, stop: mm.

    Returns:
        None where there is no length, or the lines do not meet between the two.
    """
    if not stop > start:
        return None
    grid = np.linspace(0.0, stop - start, _GRID + 1)
    moments = _moments(x - start, y, grid)
    inner = np.arange(_SIDE, _GRID + 1 - _SIDE)
    left, right = moments[:, inner], moments[:, -1:] - moments[:, inner]
    misfit = _fit(left)[2] + _fit(right)[2]
    best = int(np.argmin(misfit))
    change = start + float(grid[inner[best]])
    first = line_between(x, y, start, change - _SKIP * (change - start))
    second = line_between(x, y, change + _SKIP * (stop - change), stop)
    if first is None or second is None:
        return None
    at = first.meets(second)
    if at is None or not start < at < stop:
        return None
    gained = float(_fit(moments[:, -1])[2]) - float(misfit[best])
    return Pair(first, second, at, change, (max(gained, 0.0) / (stop - start)) ** 0.5)
