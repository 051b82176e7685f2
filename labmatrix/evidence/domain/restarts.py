"""Where a record that goes by in pieces starts again: its time falls back."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labmatrix.kernel.steps import steps_within

# A clock that falls back by no more than so many mean steps wavers; it does not start again.
WAVER_STEPS = 10.0
RESTART_RULE = (
    f"A record starts again where its time falls back by more than {WAVER_STEPS:g} mean steps of "
    "the part before."
)


class RestartTrack:
    """Finds the rows at which a record starts again, by ``RESTART_RULE``.

    Attributes:
        rows: those found so far, rising; the first row of the record is not among them.
    """

    def __init__(self) -> None:
        self.rows: list[int] = []
        self._seen = 0
        self._start: float | None = None
        self._last = 0.0
        self._steps = -1  # the first row of a part is no step of it

    def feed(self, time: NDArray[np.float64]) -> list[int]:
        """Takes the time of the next rows in s, shape (rows,); gives the rows found in them."""
        first, self._seen = self._seen, self._seen + len(time)
        started = self._start is not None and len(time) > 0
        if started and steps_within(time, self._last, 0.0, np.inf):
            self._last = float(time[-1])
            self._steps += len(time)
            return []
        there = np.flatnonzero(np.isfinite(time))
        if not len(there):
            return []
        values = time[there]
        if self._start is None:
            self._start = self._last = float(values[0])
        before = np.concatenate(([self._last], values[:-1]))
        found, begun = [], 0
        for k in np.flatnonzero(values < before).tolist():
            mean = (float(before[k]) - self._start) / max(self._steps + k - begun, 1)
            if float(before[k]) - float(values[k]) > WAVER_STEPS * mean:
                found.append(first + int(there[k]))
                self._start, self._steps, begun = float(values[k]), -1, k
        self._last = float(values[-1])
        self._steps += len(values) - begun
        self.rows += found
        return found

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``go_on`` reads it."""
        return {
            "rows": self.rows,
            "seen": self._seen,
            "part": [self._start, self._last, self._steps],
        }

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Go on where a ``state`` was taken."""
        self.rows, self._seen = list(state["rows"]), int(state["seen"])
        self._start, self._last, self._steps = state["part"]
