"""Drop-outs: a channel that jumps away and back within a few samples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from results.domain.reduction.compiled import loop_for
from results.domain.reduction.noise import Noise
from results.domain.reduction.outcome import Floats
from results.domain.reduction.sample_buffer import Part, SampleBuffer

DROPOUT_RULE = (
    "A channel drops out where it jumps away and back within so many samples and stays even in "
    "between; those samples are left out. A jump exceeds twelve times the noise, five times the "
    "99th percentile of the steps, 5 % of the range (all judged on the first 200 000 samples), "
    "and five times each of the three steps before it."
)
_SIGMAS, _STEPS, _SHARE, _LOCAL = 12.0, 5.0, 0.05, 5.0
_CONTEXT = 4


@dataclass(frozen=True, slots=True)
class Jump:
    """What counts as a jump of one channel, in its unit.

    Attributes:
        size: steps beyond this are jumps.
        pace: how far the channel ordinarily moves from one sample to the next.
    """

    size: float
    pace: float


def jump_of(values: Floats, noise: Noise) -> Jump:
    """The jump of a channel (``DROPOUT_RULE``); values of shape (n,)."""
    steps = np.abs(np.diff(values))
    pace = float(np.percentile(steps, 99.0)) if len(steps) else 0.0
    return Jump(max(_SIGMAS * noise.sigma, _STEPS * pace, _SHARE * noise.spread), pace)


def dropout_kernel(  # noqa: PLR0917 - compiled
    values: Floats,
    start: int,
    stop: int,
    longest: int,
    jump: float,
    pace: float,
    out_bad: Any,
) -> int:
    """Marks drop-outs that begin between two positions.

    Args:
        values: one channel, shape (n,); samples before ``start`` are known to be good.
        start, stop: positions to be decided.
        longest: samples in the longest drop-out.
        jump, pace: see ``Jump``.
        out_bad: receives the marks, shape (n,), bool.

    Returns:
        The first position that was not decided (a drop-out may reach beyond ``stop``).
    """
    n = len(values)
    step_1 = 0.0
    step_2 = 0.0
    step_3 = 0.0
    i = max(1, start)
    if i >= 2:
        step_1 = abs(values[i - 1] - values[i - 2])
    if i >= 3:
        step_2 = abs(values[i - 2] - values[i - 3])
    if i >= 4:
        step_3 = abs(values[i - 3] - values[i - 4])
    last = i - 1
    while i < stop:
        step = values[i] - values[last]
        size = abs(step)
        until = i
        if size > jump and size > 5.0 * max(step_1, step_2, step_3):
            for j in range(i + 1, min(i + longest, n - 1) + 1):
                back = values[j] - values[j - 1]
                if abs(back) > jump:
                    near = abs(values[j] - values[last]) <= jump + pace * (j - last)
                    if back * step < 0.0 and near:
                        until = j
                    break
        for k in range(i, until):
            out_bad[k] = True
        step_3 = step_2
        step_2 = step_1
        step_1 = abs(values[until] - values[last])
        last = until
        i = until + 1
    return i


class DropoutFilter:
    """Leaves drop-outs of one channel out of a stream of samples.

    Args:
        channel: ``load`` or ``deflection``.
        jump: what a jump is.
        longest: samples in the longest drop-out; so many samples are held back.
    """

    def __init__(self, channel: str, jump: Jump, longest: int) -> None:
        self.channel, self.jump, self.longest = channel, jump, longest
        self.left_out = 0
        self._held = SampleBuffer()
        self._decided = 0
        self._size = 0

    def push(self, part: Part, *, last: bool = False) -> Part:
        """Takes samples, gives those that are decided and good.

        Args:
            part: channels of equal length.
            last: the record ends with them.
        """
        self._held.append(part)
        self._size += len(part["load"])
        whole = self._held.whole()
        size = len(whole["load"])
        stop = size if last else max(self._decided, size - self.longest)
        bad = np.zeros(size, dtype=np.bool_)
        scan = loop_for(dropout_kernel, self._size)
        reached = scan(
            whole[self.channel],
            self._decided,
            stop,
            self.longest,
            self.jump.size,
            self.jump.pace,
            bad,
        )
        start, self._decided = self._decided, max(self._decided, min(int(reached), size))
        if bad.any():
            self.left_out += int(np.count_nonzero(bad))
            good = ~bad
            ready = {
                n: v[start : self._decided][good[start : self._decided]] for n, v in whole.items()
            }
            kept = {n: v[good] for n, v in whole.items()}
            self._decided -= int(np.count_nonzero(bad))
        else:
            ready = {n: v[start : self._decided] for n, v in whole.items()}
            kept = whole
        context = max(0, self._decided - _CONTEXT)
        self._held = SampleBuffer()
        self._held.append({n: v[context:] for n, v in kept.items()})
        self._held.own()
        self._decided -= context
        return ready

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``load_state`` reads it."""
        return {
            "left_out": self.left_out,
            "held": self._held.state(),
            "decided": self._decided,
            "size": self._size,
        }

    def load_state(self, state: Mapping[str, Any]) -> None:
        """Goes on from a ``state``."""
        self.left_out, self._decided = int(state["left_out"]), int(state["decided"])
        self._size = int(state["size"])
        self._held = SampleBuffer.from_state(state["held"])
