"""Time columns: written time made continuous over midnight, order and gaps looked at."""

from __future__ import annotations

from datetime import date

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.time_cells import EPOCH_ORDINAL, TimeForm

DAY_S = 86_400.0
# A clock that falls back by more than half a day has passed midnight.
_MIDNIGHT_DROP_S = DAY_S / 2
# A step longer than so many usual (median) steps is a gap.
GAP_STEPS = 10.0


class TimeTrack:
    """Seconds of one column of written time, continued from block to block."""

    def __init__(self, form: TimeForm, name: str) -> None:
        self._form = form
        self._name = name
        self._first_day: int | None = None
        self._last_day = 0
        self._last = np.nan
        self._offset = 0.0

    @property
    def origin(self) -> str | None:
        """The day at whose 00:00 the seconds begin, where the column is dated."""
        if self._first_day is None:
            return None
        return date.fromordinal(self._first_day + EPOCH_ORDINAL).isoformat()

    def follow(
        self,
        days: NDArray[np.int64] | None,
        seconds: NDArray[np.float64],
        lines: NDArray[np.int64],
        findings: Findings,
    ) -> NDArray[np.float64]:
        """Continuous seconds of the next rows, shape as ``seconds``.

        Raises:
            ShapeError: ``record.date-ambiguous``.
        """
        there = np.flatnonzero(np.isfinite(seconds))
        if len(there) == 0:
            return seconds
        if self._form.dated and days is not None:
            if self._first_day is None:
                self._first_day = self._last_day = int(days[there[0]])
            self._refuse_unproved(days[there])
            return (days - self._first_day) * DAY_S + seconds
        return self._unrolled(seconds, there, lines, findings)

    def _refuse_unproved(self, days: NDArray[np.int64]) -> None:
        """Day first and month first both fitted: only days that follow prove the order taken."""
        if not self._form.proved:
            steps = np.diff(np.concatenate(([self._last_day], days)))
            if ((steps < 0) | (steps > 1)).any():
                at = int(days[int(np.argmax((steps < 0) | (steps > 1)))])
                day = date.fromordinal(at + EPOCH_ORDINAL).isoformat()
                raise refusals.date_ambiguous(self._name, f"{day} or its day and month exchanged")
        self._last_day = int(days[-1])

    def _unrolled(
        self,
        seconds: NDArray[np.float64],
        there: NDArray[np.int64],
        lines: NDArray[np.int64],
        findings: Findings,
    ) -> NDArray[np.float64]:
        clock = seconds[there]
        before = np.concatenate(([self._last], clock[:-1]))
        passed = (before - clock > _MIDNIGHT_DROP_S) & (before < DAY_S)
        if passed.any():
            findings.add(f.MIDNIGHT, lines[there[passed]], self._name)
        result = seconds.copy()
        result[there] = clock + (self._offset + DAY_S * np.cumsum(passed))
        self._offset += DAY_S * float(passed.sum())
        self._last = float(clock[-1])
        return result


def look_at_order(
    seconds: NDArray[np.float64], lines: NDArray[np.int64], name: str, findings: Findings
) -> None:
    """Note where time runs backward, repeats or jumps.

    Args:
        seconds: time of each row, (rows,), in any unit of time.
        lines: line number of each row, (rows,).
        name: the column.
        findings: takes the notes.
    """
    there = np.isfinite(seconds)
    steps, at = np.diff(seconds[there]), lines[there][1:]
    forward = steps[steps > 0]
    for code, where in ((f.BACKWARD, steps < 0), (f.DUPLICATE, steps == 0)):
        if where.any():
            findings.add(code, at[where], name)
    if len(forward) > 2:
        gaps = steps > GAP_STEPS * float(np.median(forward))
        if gaps.any():
            findings.add(f.GAP, at[gaps], name)
