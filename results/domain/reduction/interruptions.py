"""Interruptions of a record: gaps, and time that runs backward."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

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
        before, step_before = self.last or (float(place[0]), usual or 0.0)
        steps = np.diff(place, prepend=before)
        if self.last is None:
            steps[0] = step_before
        previous = np.concatenate([[step_before], steps[:-1]])
        self.last = (float(place[-1]), float(steps[-1]))
        backward = steps < 0.0
        missing = np.where(backward, np.inf, 0.0)
        if usual is not None and self.intervals is not None:
            unit = np.maximum(previous, usual)
            gap = steps > self.intervals * unit * (1.0 + 1e-9)
            missing[gap] = steps[gap] / unit[gap]
            self.gaps += int(np.count_nonzero(gap))
        self.backward += int(np.count_nonzero(backward))
        return [Interruption(int(k), float(missing[k])) for k in np.flatnonzero(missing)]
