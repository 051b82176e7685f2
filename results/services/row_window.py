"""The last rows of channels that go by, so that a cycle found later can look back at them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
# Values of the channels, shape (channels, n), at n rows of a piece counted from its first.
Pick = Callable[[Ints], Floats]


@dataclass(frozen=True)
class _Part:
    first: int
    end: int
    pick: Pick


class RowWindow:
    """The rows of some channels from a moving first row on.

    The newest piece is asked only for the rows that are looked at; of what came before it, the
    values are kept and the piece itself is let go.

    Args:
        width: number of channels.
    """

    def __init__(self, width: int) -> None:
        self._width = width
        self._base = self._end = 0
        self._parts: list[_Part] = []

    def append(self, rows: int, pick: Pick) -> None:
        """Takes the next rows: how many, and how to get at their channels."""
        kept = self._held()
        self._parts = [_Part(self._base, self._end, _from(kept))] if kept.size else []
        self._parts.append(_Part(self._end, self._end + rows, pick))
        self._end += rows

    def _held(self) -> Floats:
        """The values of all rows that are still there."""
        return self.at(np.arange(self._base, self._end, dtype=np.int64))

    def at(self, rows: Ints) -> Floats:
        """Values at rising rows that are still there, shape (channels, rows)."""
        picked = np.empty((self._width, len(rows)))
        if self._width:
            for part in self._parts:
                low, high = np.searchsorted(rows, (part.first, part.end))
                if high > low:
                    picked[:, low:high] = part.pick(rows[low:high] - part.first)
        return picked

    def forget_before(self, row: int) -> None:
        """Lets go of the rows before one."""
        self._base = max(self._base, row)
        self._parts = [part for part in self._parts if part.end > self._base]

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``go_on`` reads it."""
        return {"base": self._base, "values": self._held().tolist()}

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Go on where a ``state`` was taken."""
        self._base = int(state["base"])
        if self._width:
            kept = np.array(state["values"], dtype=np.float64).reshape(self._width, -1)
            self._end = self._base + kept.shape[1]
            self._parts = [_Part(self._base, self._end, _from(kept))]


def _from(kept: Floats) -> Pick:
    return lambda rows: kept[:, rows]
