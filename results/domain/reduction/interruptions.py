"""Interruptions of a record: gaps, and time that runs backward."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np

from labmatrix.kernel.steps import steps_within
from results.domain.reduction.sample_buffer import Part


class Interruption(NamedTuple):
    """A place where samples are missing.

    Attributes:
        at: position in the part before which they are missing.
        samples: about how many; infinite where time runs backward.
    """

    at: int
    samples: float


class GapFinder:
    """Finds interruptions in a stream of samples.

    A step is a gap where it exceeds ``intervals`` times both the usual step and the step before:
    so a change of the sampling rate is one gap at most. Without time, steps go by the rows of the
    record, where samples were left out.

    Args:
        intervals: None to see no gaps.
        interval_s: the usual step of time, None without time.
    """

    def __init__(self, intervals: float | None, interval_s: float | None) -> None:
        self.intervals, self.interval_s = intervals, interval_s
        self.gaps = 0
        self.backward = 0
        self.last: tuple[float, float] | None = None

    def find(self, part: Part) -> list[Interruption]:
        """Interruptions before the samples of a part, in order."""
        timed = "time" in part
        place = part["time"] if timed else part["row"].astype(np.float64)
        usual = self.interval_s if timed else 1.0
        least = math.inf
        if usual is not None and self.intervals is not None:
            least = self.intervals * usual * (1.0 + 1e-9)
        if self.last and len(place) > 1 and steps_within(place, self.last[0], 0.0, least):
            self.last = (float(place[-1]), float(place[-1]) - float(place[-2]))
            return []
        before, step_before = self.last or (float(place[0]), usual or 0.0)
        steps = np.empty(len(place))
        steps[0] = step_before if self.last is None else place[0] - before
        np.subtract(place[1:], place[:-1], out=steps[1:])
        self.last = (float(place[-1]), float(steps[-1]))
        suspect = np.flatnonzero((steps < 0.0) | (steps > least))
        found = []
        for k in suspect.tolist():
            unit = max(float(steps[k - 1]) if k else step_before, usual or 0.0)
            if steps[k] < 0.0:
                self.backward += 1
                found.append(Interruption(k, math.inf))
            elif steps[k] > least / (usual or 1.0) * unit:
                self.gaps += 1
                found.append(Interruption(k, float(steps[k]) / unit))
        return found

    def state(self) -> list[Any]:
        """JSON-ready; ``load_state`` reads it."""
        return [self.gaps, self.backward, self.last]

    def load_state(self, state: Sequence[Any]) -> None:
        """Goes on from a ``state``."""
        self.gaps, self.backward, last = state
        self.last = None if last is None else (float(last[0]), float(last[1]))
