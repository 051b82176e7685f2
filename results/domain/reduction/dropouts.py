"""Drop-outs: a channel that jumps away and back within a few samples."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from labmatrix.kernel.steps import steps_within
from results.domain.reduction.compiled import loop_for
from results.domain.reduction.noise import Noise
from results.domain.reduction.outcome import Floats, Ints
from results.domain.reduction.sample_buffer import Part, SampleBuffer

DROPOUT_RULE = (
    "A channel drops out where it jumps away and back within so many samples and stays even in "
    "between; those samples are left out. A jump exceeds twelve times the noise, five times the "
    "99th percentile of the steps (of a running median of five where the drop-outs are so many "
    "that the steps are theirs), 5 % of the range (all judged on the first 200 000 samples), and "
    "five times each of the three steps before it."
)
_SIGMAS, _STEPS, _SHARE = 12.0, 5.0, 0.05
_CONTEXT = 4
_PERCENTILE, _MEDIAN = 99.0, 5


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
    pace = _pace(values)
    return Jump(max(_SIGMAS * noise.sigma, _STEPS * pace, _SHARE * noise.spread), pace)


def _pace(values: Floats) -> float:
    """99th percentile of the steps; of a running median of five where that is far smaller, because
    then the steps are those of the drop-outs themselves."""
    steps = np.abs(np.diff(values))
    if len(steps) < _MEDIAN:
        return float(np.percentile(steps, _PERCENTILE)) if len(steps) else 0.0
    calm = np.median(np.lib.stride_tricks.sliding_window_view(values, _MEDIAN), axis=1)
    all_of_them = float(np.percentile(steps, _PERCENTILE))
    calm_ones = float(np.percentile(np.abs(np.diff(calm)), _PERCENTILE))
    return calm_ones if all_of_them > _STEPS * calm_ones > 0.0 else all_of_them


def dropout_kernel(  # noqa: C901, PLR0917 - one loop, compiled as it stands
    load: Floats,
    deflection: Floats,
    place: Ints,
    stop: int,
    longest: int,
    jumps: Floats,
    paces: Floats,
    out_bad: npt.NDArray[np.bool_],
) -> None:
    """Marks drop-outs that begin before a position, and goes on to the first jump behind it.

    Args:
        load, deflection: shape (n,); samples that were decided before are known to be good.
        place: the first position to be decided, and where the good samples without a drop-out
            before it begin; changed in place (a drop-out may reach beyond ``stop``).
        stop: a jump from here on is left for later; a sample without one is good in any case.
        longest: samples in the longest drop-out.
        jumps, paces: of load and deflection, see ``Jump``; shape (2,).
        out_bad: receives the marks, shape (n,).
    """
    n = len(load)
    i = place[0]
    clean = place[1]
    jump_load = jumps[0]
    jump_deflection = jumps[1]
    if i == 0 and n > 0:
        i = 1
    last = i - 1
    while i < n:
        until = i
        if (
            abs(load[i] - load[last]) > jump_load
            or abs(deflection[i] - deflection[last]) > jump_deflection
        ):
            if i >= stop:
                break
            for channel in range(2):
                values = load if channel == 0 else deflection
                jump = jumps[channel]
                step = values[i] - values[last]
                before = 0.0
                for k in range(max(clean, last - 3), last):
                    before = max(before, abs(values[k + 1] - values[k]))
                if abs(step) <= max(jump, 5.0 * before):
                    continue
                for j in range(i + 1, min(i + longest, n - 1) + 1):
                    back = values[j] - values[j - 1]
                    if abs(back) > jump:
                        near = abs(values[j] - values[last]) <= jump + paces[channel] * (j - last)
                        if back * step < 0.0 and near:
                            until = max(until, j)
                        break
            if until > i:
                for k in range(i, until):
                    out_bad[k] = True
                clean = until
        last = until
        i = until + 1
    place[0] = i
    place[1] = clean


class DropoutFilter:
    """Leaves drop-outs out of a stream of samples.

    Args:
        load, deflection: what a jump of each is.
        longest: samples in the longest drop-out; so many are waited for where a channel jumps.
    """

    def __init__(self, load: Jump, deflection: Jump, longest: int) -> None:
        self.longest = longest
        self.jumps = np.array([load.size, deflection.size])
        self.paces = np.array([load.pace, deflection.pace])
        self.left_out = 0
        self._held = SampleBuffer()
        self._decided = 0
        self._clean = 0
        self._size = 0

    @property
    def held(self) -> SampleBuffer:
        """The samples that are not decided, and a few before them."""
        return self._held

    def push(self, part: Part) -> Part:
        """Takes samples, gives those that are decided and good."""
        self._size += len(part["load"])
        if self._is_calm(part):
            return self._passed(part)
        self._held.append(part)
        return self._decide(self.longest)

    def _is_calm(self, part: Part) -> bool:
        """Whether nothing waits and no step of a part is a jump, so that all of it is good."""
        held, size = len(self._held), len(part["load"])
        if not 0 < held == self._decided or size < _CONTEXT:
            return False
        return all(
            steps_within(part[name], float(self._held.column(name)[-1]), -jump, jump)
            for name, jump in zip(("load", "deflection"), self.jumps.tolist(), strict=True)
        )

    def _passed(self, part: Part) -> Part:
        """A part without a jump as it came; its last samples are kept for the next."""
        behind = len(self._held) + len(part["load"]) - _CONTEXT
        self._held = SampleBuffer()
        self._held.append({name: values[-_CONTEXT:].copy() for name, values in part.items()})
        self._decided, self._clean = _CONTEXT, max(0, self._clean - behind)
        return part

    def flush(self) -> Part:
        """Gives what was held back, at the end of the record."""
        return self._decide(0)

    def _decide(self, hold_back: int) -> Part:
        whole = self._held.whole()
        size, start = len(whole["load"]), self._decided
        stop = max(start, size - hold_back)
        bad = np.zeros(size, dtype=np.bool_)
        place = np.array([start, self._clean], dtype=np.int64)
        scan = loop_for(dropout_kernel, self._size)
        scan(
            whole["load"],
            whole["deflection"],
            place,
            stop,
            self.longest,
            self.jumps,
            self.paces,
            bad,
        )
        decided, clean = min(int(place[0]), size), int(place[1])
        dropped = int(np.count_nonzero(bad))
        ready = {name: values[start:decided] for name, values in whole.items()}
        if dropped:
            self.left_out += dropped
            good = ~bad
            clean = int(np.count_nonzero(good[:clean]))
            ready = {name: values[good[start:decided]] for name, values in ready.items()}
            whole = {name: values[good] for name, values in whole.items()}
        context = max(0, decided - dropped - _CONTEXT)
        self._held = SampleBuffer()
        self._held.append({name: values[context:] for name, values in whole.items()})
        self._held.own()
        self._decided = decided - dropped - context
        self._clean = max(0, clean - context)
        return ready

    def state(self) -> dict[str, Any]:
        """JSON-ready; ``load_state`` reads it."""
        return {
            "left_out": self.left_out,
            "held": self._held.state(),
            "places": [self._decided, self._clean],
            "size": self._size,
        }

    def load_state(self, state: Mapping[str, Any]) -> None:
        """Goes on from a ``state``."""
        self.left_out, self._size = int(state["left_out"]), int(state["size"])
        self._decided, self._clean = state["places"]
        self._held = SampleBuffer.from_state(state["held"])
