"""Time whose clock is coarser than the sampling, row by row: rows of one stamp share its length."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# Rows from which it is told whether the clock is coarse.
HEAD = 200_000


class StampSpreader:
    """Spreads rows that share a stamp evenly over its length.

    Whether the clock is coarse (at least half of the first steps repeat a stamp), how long a tick
    is and how many rows usually share one is told from the first rows. Then the k-th row of a stamp
    lies k usual spacings behind it, within the tick.

    Args:
        head: the first rows' time in s, shape (rows,), NaN where missing; ``HEAD`` are enough.
    """

    def __init__(self, head: Array) -> None:
        self._tick, self._usual = _coarseness(head[:HEAD])
        self._last: float | None = None
        self._place = 0

    @property
    def is_coarse(self) -> bool:
        """Whether anything is spread at all."""
        return self._tick > 0.0

    def spread(self, time: Array) -> Array:
        """Time of the next rows with its stamps spread, s, shape (rows,)."""
        if not self.is_coarse or not len(time):
            return time
        there = np.flatnonzero(np.isfinite(time))
        if not len(there):
            return time
        values = time[there]
        fresh = np.diff(values, prepend=np.nan if self._last is None else self._last) != 0.0
        starts = np.flatnonzero(fresh)
        before = 0 if self._last is None else self._place + 1
        rows = np.arange(len(values))
        since = np.concatenate(([-before], starts))[np.searchsorted(starts, rows, side="right")]
        place = rows - since
        self._last, self._place = float(values[-1]), int(place[-1])
        result = time.copy()
        result[there] = values + self._tick * np.minimum(place / self._usual, 1.0 - 1e-6)
        return result

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``go_on`` reads it."""
        return {"clock": [self._tick, self._usual], "last": self._last, "place": self._place}

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Go on where a ``state`` was taken."""
        self._tick, self._usual = state["clock"]
        self._last, self._place = state["last"], int(state["place"])


def _coarseness(head: Array) -> tuple[float, float]:
    """Length of a tick in s and rows in it; (0, 1) for a clock as fine as the sampling."""
    time = head[np.isfinite(head)]
    steps = np.diff(time)
    if len(steps) == 0 or 2 * np.count_nonzero(steps == 0) < len(steps):
        return 0.0, 1.0
    starts = np.concatenate(([0], 1 + np.flatnonzero(steps != 0)))
    lengths = np.diff(np.concatenate((starts, [len(time)])))
    ticks = np.diff(time[starts])
    ahead = ticks[ticks > 0]
    if not len(ahead):
        return 0.0, 1.0
    inner = lengths[1:-1] if len(lengths) > 2 else lengths
    return float(np.median(ahead)), float(np.median(inner))
