"""A stress–strain curve as measured, and the few things read off it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from labmatrix.kernel.errors import RangeError, ShapeError
from results.domain.mechanics.arrays import FloatArray


def curve(
    strain: Sequence[float] | FloatArray, stress: Sequence[float] | FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Both columns as arrays of one length.

    Raises:
        ShapeError: ``curve.columns``, columns of different length or fewer than three points.
        RangeError: a value that is not finite.
    """
    x, y = np.asarray(strain, dtype=np.float64), np.asarray(stress, dtype=np.float64)
    if x.ndim != 1 or x.shape != y.shape or len(x) < 3:
        raise ShapeError(
            "curve.columns",
            f"The curve has {x.size} strains and {y.size} stresses; allowed are columns of equal "
            "length with at least 3 points.",
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        raise RangeError("curve", "not finite", "finite strains and stresses")
    return x, y


def last_upward_crossing(x: FloatArray, y: FloatArray, level: float) -> float:
    """Where y last rises through a level before its peak, by straight interpolation.

    Raises:
        RangeError: y does not cross the level before its peak.
    """
    peak = int(np.argmax(y))
    rises = np.flatnonzero((y[:peak] < level) & (y[1 : peak + 1] >= level))
    if not len(rises):
        raise RangeError(
            "curve", float(y[0]), f"a curve that rises through {level:g} MPa before its peak"
        )
    i = int(rises[-1])
    return float(x[i] + (level - y[i]) * (x[i + 1] - x[i]) / (y[i + 1] - y[i]))


def first_upward_crossing(x: FloatArray, y: FloatArray, level: float) -> float:
    """Where y first rises through a level, by straight interpolation.

    Raises:
        RangeError: y does not cross the level.
    """
    rises = np.flatnonzero((y[:-1] < level) & (y[1:] >= level))
    if not len(rises):
        raise RangeError("curve", float(y.max()), f"a curve that rises through {level:g} MPa")
    i = int(rises[0])
    return float(x[i] + (level - y[i]) * (x[i + 1] - x[i]) / (y[i + 1] - y[i]))
