"""The few samples of a long record that are still needed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

Part = dict[str, npt.NDArray[Any]]
_KINDS: Mapping[str, type[np.int64]] = {"row": np.int64}


def _kind(name: str) -> type[np.float64] | type[np.int64]:
    return _KINDS.get(name, np.float64)


class SampleBuffer:
    """Channels of equal length whose first sample has a known position in the record.

    Attributes:
        base: position of the first sample kept.
    """

    def __init__(self, base: int = 0) -> None:
        self.base = base
        self._parts: list[Part] = []

    def __len__(self) -> int:
        return sum(len(part["load"]) for part in self._parts)

    def append(self, part: Part) -> None:
        """Adds samples behind the last; they may still look into the caller's arrays."""
        self._parts.append({name: values[:] for name, values in part.items()})

    def own(self) -> None:
        """Copies what still looks into the caller's arrays, which may be filled anew."""
        self._parts = [
            {name: v if v.flags.owndata else v.copy() for name, v in part.items()}
            for part in self._parts
        ]

    def whole(self) -> Part:
        """All samples kept, as one piece."""
        if len(self._parts) > 1:
            names = self._parts[0].keys()
            self._parts = [{n: np.concatenate([p[n] for p in self._parts]) for n in names}]
        if not self._parts:
            return {n: np.empty(0, dtype=_kind(n)) for n in ("load", "deflection", "row", "time")}
        return self._parts[0]

    def forget_before(self, position: int) -> None:
        """Lets go of samples before a position, once they are half of what is kept."""
        drop = position - self.base
        if drop <= 0 or 2 * drop < len(self):
            return
        self._parts = [{name: v[drop:].copy() for name, v in self.whole().items()}]
        self.base = position

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``from_state`` reads it."""
        return {"base": self.base, "samples": {n: v.tolist() for n, v in self.whole().items()}}

    @classmethod
    def from_state(cls, state: Mapping[str, Any]) -> SampleBuffer:
        """The buffer of a ``state``."""
        buffer = cls(int(state["base"]))
        samples: Mapping[str, Sequence[float]] = state["samples"]
        if samples["load"]:
            buffer.append({n: np.array(v, dtype=_kind(n)) for n, v in samples.items()})
        return buffer
