"""Channels of one file over its own time, kept on disk and read by windows of time."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from labmatrix.evidence.domain.join import GAP_STEPS

Floats = npt.NDArray[np.float64]
_INDEX_ROWS = 4096
_STEPS_LOOKED_AT = 200_000


class SampleStore:
    """Rows in the order of their time; those whose time does not rise are left out.

    Args:
        path: of the file on disk.
        width: number of channels.
        state: of a store that was closed, to be read only.
    """

    def __init__(self, path: Path, width: int, state: Mapping[str, Any] | None = None) -> None:
        self._path, self._width = path, width
        self._stream: BinaryIO | None = path.open("wb") if state is None else None
        self._rows = 0
        self._index: list[float] = []
        self._highest = -np.inf
        self._steps: list[Floats] = []
        self.gap_s = 0.0
        if state is not None:
            self._rows, self.gap_s = int(state["rows"]), float(state["gap_s"])
            self._index = list(state["index"])

    def append(self, time: Floats, channels: Floats) -> None:
        """Takes the next rows: s, shape (rows,), and values, shape (channels, rows)."""
        if not len(time):
            return
        there = np.isfinite(time)
        highest = np.maximum.accumulate(np.where(there, time, -np.inf))
        before = np.maximum(np.concatenate(([-np.inf], highest[:-1])), self._highest)
        rising = there & (time > before)
        self._highest = max(self._highest, float(highest[-1]))
        table = np.concatenate((time[np.newaxis], channels))[:, rising].T
        if sum(map(len, self._steps)) < _STEPS_LOOKED_AT:
            self._steps.append(np.diff(table[:, 0]))
        first = -self._rows % _INDEX_ROWS
        self._index += table[first::_INDEX_ROWS, 0].tolist()
        if self._stream is not None:
            self._stream.write(np.ascontiguousarray(table).tobytes())
        self._rows += len(table)

    def close(self) -> None:
        """No row comes any more; across a step of more than ``gap_s`` nothing is interpolated."""
        if self._stream is not None:
            self._stream.close()
        steps = np.concatenate([np.empty(0), *self._steps])[:_STEPS_LOOKED_AT]
        self.gap_s = GAP_STEPS * float(np.median(steps)) if len(steps) else 0.0

    def state(self) -> dict[str, Any]:
        """Of a closed store, JSON-ready."""
        return {"rows": self._rows, "gap_s": self.gap_s, "index": self._index}

    def at(self, times: Floats) -> Floats:
        """The channels interpolated at some times, NaN outside and across gaps.

        Args:
            times: s, shape (n,), NaN where not known.

        Returns:
            Shape (channels, n).
        """
        found = np.full((self._width, len(times)), np.nan)
        known = np.isfinite(times)
        if not known.any() or not self._rows:
            return found
        window = self._window(float(times[known].min()), float(times[known].max()))
        for place in range(self._width):
            found[place, known] = self._interpolated(window, place + 1, times[known])
        return found

    def _window(self, first: float, last: float) -> Floats:
        """Rows from before ``first`` to behind ``last``, with as much on both sides as a gap."""
        index = np.array(self._index)
        low = max(0, int(np.searchsorted(index, first - self.gap_s, side="right")) - 1)
        high = int(np.searchsorted(index, last + self.gap_s, side="right")) + 1
        start, stop = low * _INDEX_ROWS, min(high * _INDEX_ROWS, self._rows)
        width = self._width + 1
        flat = np.fromfile(
            self._path, dtype=np.float64, count=(stop - start) * width, offset=start * width * 8
        )
        return flat.reshape(-1, width)

    def _interpolated(self, window: Floats, column: int, at: Floats) -> Floats:
        there = np.isfinite(window[:, column])
        time, values = window[there, 0], window[there, column]
        result = np.full(len(at), np.nan)
        if len(time) < 2:
            return result
        after = np.searchsorted(time, at, side="left").clip(1, len(time) - 1)
        inside = (at >= time[0]) & (at <= time[-1])
        inside &= time[after] - time[after - 1] <= self.gap_s
        result[inside] = np.interp(at[inside], time, values)
        return result
