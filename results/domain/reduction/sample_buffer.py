"""The few samples of a long record that are still needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.reduction.outcome import Ints

Part = dict[str, npt.NDArray[Any]]
_KINDS: Mapping[str, type[np.int64]] = {"row": np.int64}
_NAMES = ("load", "deflection", "row", "time")


def _kind(name: str) -> type[np.float64] | type[np.int64]:
    return _KINDS.get(name, np.float64)


class SampleBuffer:
    """Channels of equal length whose first sample has a known position in the record.

    Attributes:
        base: position of the first sample kept.
    """

    def __init__(self, base: int = 0) -> None:
        self.base = base
        self._size = 0
        self._columns: dict[str, list[npt.NDArray[Any]]] = {}

    def __len__(self) -> int:
        return self._size

    def __contains__(self, name: str) -> bool:
        return name in self._columns

    def append(self, part: Part) -> None:
        """Adds samples behind the last; they may still look into the caller's arrays."""
        if len(part["load"]):
            for name, values in part.items():
                self._columns.setdefault(name, []).append(values[:])
            self._size += len(part["load"])

    def own(self) -> None:
        """Copies what still looks into the caller's arrays, which may be filled anew."""
        for pieces in self._columns.values():
            pieces[:] = [v if v.flags.owndata else v.copy() for v in pieces]

    def column(self, name: str) -> npt.NDArray[Any]:
        """All samples of a channel that is kept, in one piece."""
        pieces = self._columns[name]
        if len(pieces) > 1:
            pieces[:] = [np.concatenate(pieces)]
        return pieces[0]

    def at(self, name: str, places: Ints) -> npt.NDArray[Any]:
        """Samples of a channel at rising places, counted from the first sample kept."""
        picked = np.empty(len(places), dtype=_kind(name))
        start = 0
        for values in self._columns[name]:
            end = start + len(values)
            low, high = np.searchsorted(places, (start, end))
            picked[low:high] = values[places[low:high] - start]
            start = end
        return picked

    @property
    def first_row(self) -> int:
        """Row of the record of the first sample kept."""
        return int(self._columns["row"][0][0])

    def whole(self) -> Part:
        """All samples kept, as one piece."""
        if not self._size:
            return {n: np.empty(0, dtype=_kind(n)) for n in _NAMES}
        return {name: self.column(name) for name in self._columns}

    def forget_before(self, position: int) -> None:
        """Lets go of samples before a position, once they are half of what is kept."""
        drop = position - self.base
        if drop <= 0 or 2 * drop < len(self):
            return
        for pieces in self._columns.values():
            pieces[:] = _behind(pieces, drop)
        self._size -= drop
        self.base = position

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``from_state`` reads it."""
        return {"base": self.base, "samples": {n: v.tolist() for n, v in self.whole().items()}}

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> SampleBuffer:
        """The buffer of a ``state``."""
        buffer = cls(int(state["base"]))
        samples: Mapping[str, Sequence[float]] = state["samples"]
        buffer.append({n: np.array(v, dtype=_kind(n)) for n, v in samples.items()})
        return buffer


def _behind(pieces: Sequence[npt.NDArray[Any]], drop: int) -> list[npt.NDArray[Any]]:
    """The pieces without so many values at their beginning."""
    kept = []
    for values in pieces:
        if drop < len(values):
            kept.append(values[drop:].copy() if drop else values)
        drop = max(0, drop - len(values))
    return kept
