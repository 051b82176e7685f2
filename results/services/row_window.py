"""The last rows of channels that go by, so that a cycle found later can look back at them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


class RowWindow:
    """The rows of some channels from a moving first row on.

    Args:
        width: number of channels.
    """

    def __init__(self, width: int) -> None:
        self._base = 0
        self._values = np.empty((width, 0))

    def append(self, channels: Sequence[Floats]) -> None:
        """Takes the next rows; one array (rows,) for each channel."""
        if channels:
            self._values = np.concatenate((self._values, np.stack(channels)), axis=1)

    def at(self, rows: npt.NDArray[np.int64]) -> Floats:
        """Values at rows that are still there, shape (channels, rows)."""
        if not len(self._values):
            return np.empty((0, len(rows)))
        picked: Floats = self._values[:, rows - self._base]
        return picked

    def forget_before(self, row: int) -> None:
        """Lets go of the rows before one."""
        if row > self._base:
            self._values = self._values[:, row - self._base :].copy()
            self._base = row

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``go_on`` reads it."""
        return {"base": self._base, "values": self._values.tolist()}

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Go on where a ``state`` was taken."""
        self._base = int(state["base"])
        if len(self._values):
            self._values = np.array(state["values"], dtype=np.float64)
