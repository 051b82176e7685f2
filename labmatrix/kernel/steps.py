"""Whether a row of numbers steps in order, at a glance: only what does not need be searched."""

from __future__ import annotations

import sys

import numpy as np
from numpy.typing import NDArray

from labmatrix.kernel.compiled import COMPILE_FROM, compiled

_MOST = sys.float_info.max


def steps_within(values: NDArray[np.float64], before: float, least: float, greatest: float) -> bool:
    """Whether all numbers are finite, and no step between them is below or above two bounds.

    Args:
        values: shape (n,).
        before: the number before the first of them, finite.
        least, greatest: the bounds, in the unit of the numbers; infinite for none.
    """
    low, high = max(least, -_MOST), min(greatest, _MOST)
    if len(values) >= COMPILE_FROM:
        return compiled(steps_kernel)(values, before, low, high) == 0
    with np.errstate(invalid="ignore", over="ignore"):
        steps = np.diff(values, prepend=before)
    return bool(((steps >= low) & (steps <= high)).all())


def steps_kernel(values: NDArray[np.float64], before: float, least: float, greatest: float) -> int:
    """How many steps lie outside finite bounds; one from or to no finite number always does."""
    outside = 0
    if len(values):
        step = values[0] - before
        outside += not (least <= step <= greatest)
    for k in range(1, len(values)):
        step = values[k] - values[k - 1]
        outside += not ((step >= least) & (step <= greatest))
    return outside
