"""Roots of many increasing functions at once: Newton steps inside a shrinking bracket."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from results.domain.mechanics.arrays import FloatArray

IndexArray = NDArray[np.intp]
Function = Callable[[FloatArray, IndexArray | None], tuple[FloatArray, FloatArray]]

_STEPS = 200
_STEPS_TOGETHER = 3
# Newton may jump to and fro between two places; from this step on a step that is not at most half
# of the one before it is a halving of the bracket.
_STEPS_TRUSTED = 8
# Newton squares its error: a last move of 1e-8 leaves about 1e-16, one of 1e-5 about 1e-9.
TIGHT = 1e-8
FOR_SAMPLES = 1e-5


def increasing_roots(
    function: Function,
    low: FloatArray,
    high: FloatArray,
    start: FloatArray,
    *,
    tolerance: float = TIGHT,
) -> FloatArray:
    """One root for each problem, shape (n,).

    A function that rises on the whole but has flats or small falls is still solved: where a
    Newton step leaves the bracket the bracket is halved.

    Args:
        function: called with arguments of shape (m,) and the positions of the m problems that
            are still open (None for all of them); gives value and slope.
        low, high: where the value is negative and positive, shape (n,).
        start: first guess within them, shape (n,).
        tolerance: last Newton move in terms of ``high``; a halving must be 1e-3 of it.

    Raises:
        ArithmeticError: a root was not found, which no function with one sign at each end gives.
    """
    x, scale = start.copy(), np.abs(high)
    result = x.copy()
    stride = np.full_like(x, np.inf)
    index: IndexArray | None = None
    for step in range(_STEPS):
        value, slope = function(x, index)
        over = value > 0.0
        high, low = np.where(over, x, high), np.where(over, low, x)
        with np.errstate(divide="ignore", invalid="ignore"):
            move = x - value / slope
        inside = (move >= low) & (move <= high)
        if step >= _STEPS_TRUSTED:
            inside &= np.abs(move - x) <= 0.5 * stride
        move = np.where(inside, move, 0.5 * (low + high))
        allowed = tolerance if inside.all() else np.where(inside, 1.0, 1e-3) * tolerance
        open_ = np.abs(move - x) > allowed * scale
        stride, x = np.abs(move - x), move
        if not open_.any():
            break
        if step + 1 >= _STEPS_TOGETHER and len(x) > 1:
            place = np.arange(len(x)) if index is None else index
            result[place[~open_]] = x[~open_]
            index = place[open_]
            x, low, high, scale = x[open_], low[open_], high[open_], scale[open_]
            stride = stride[open_]
    else:
        raise ArithmeticError(f"{len(x)} roots were not found in {_STEPS} steps")
    if index is None:
        return x
    result[index] = x
    return result
