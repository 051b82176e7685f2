"""Time columns: written time made continuous over midnight, order and gaps looked at."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np
from numpy.typing import NDArray

from labmatrix.evidence.reading import findings as f
from labmatrix.evidence.reading import refusals
from labmatrix.evidence.reading.findings import Findings
from labmatrix.evidence.reading.time_cells import EPOCH_ORDINAL, TimeForm
from labmatrix.kernel.steps import steps_within

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

    def state(self) -> dict[str, Any]:
        """What the next rows depend on, JSON-ready; ``go_on`` reads it."""
        last = None if np.isnan(self._last) else self._last
        return {
            "first_day": self._first_day,
            "last_day": self._last_day,
            "last": last,
            "offset": self._offset,
        }

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Go on where a ``state`` was taken."""
        self._first_day, self._last_day = state["first_day"], int(state["last_day"])
        self._last = np.nan if state["last"] is None else float(state["last"])
        self._offset = float(state["offset"])

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


class OrderTrack:
    """Looks at the order of a time column row by row: backward, repeated, jumping ahead.

    A step is a jump where it exceeds ``GAP_STEPS`` times the usual step, the median of the forward
    ones among the first ``HEAD``.
    """

    HEAD = 200_000

    def __init__(self, name: str) -> None:
        self._name = name
        self._last: float | None = None
        self._usual: float | None = None
        self._head: list[tuple[NDArray[np.float64], NDArray[np.int64]]] | None = []
        self._met = Findings()

    def feed(self, seconds: NDArray[np.float64], lines: NDArray[np.int64]) -> None:
        """Takes the next rows.

        Args:
            seconds: time of each row, (rows,), in any unit of time, NaN where missing.
            lines: line number of each row, (rows,).
        """
        if self._head is None and self._last is not None and len(seconds):
            most = np.inf if self._usual is None else GAP_STEPS * self._usual
            if steps_within(seconds, self._last, np.nextafter(0.0, 1.0), most):
                self._last = float(seconds[-1])
                return
        there = np.isfinite(seconds)
        time, at = (seconds, lines) if there.all() else (seconds[there], lines[there])
        if not len(time):
            return
        steps = np.diff(time, prepend=time[0] if self._last is None else self._last)
        if self._last is None:
            steps, at = steps[1:], at[1:]
        self._last = float(time[-1])
        for code, where in ((f.BACKWARD, steps < 0), (f.DUPLICATE, steps == 0)):
            if where.any():
                self._met.add(code, at[where], self._name)
        if self._head is None:
            self._jumps(steps, at)
            return
        self._head.append((steps, at))
        if sum(len(steps) for steps, _ in self._head) >= self.HEAD:
            self._settle()

    def _settle(self) -> None:
        """Judges the usual step on the head, and the head by it."""
        held, self._head = self._head or [], None
        if not held:
            return
        steps = np.concatenate([steps for steps, _ in held])
        ahead = steps[: self.HEAD]
        ahead = ahead[ahead > 0]
        self._usual = float(np.median(ahead)) if len(ahead) > 2 else None
        self._jumps(steps, np.concatenate([at for _, at in held]))

    def _jumps(self, steps: NDArray[np.float64], at: NDArray[np.int64]) -> None:
        if self._usual is not None:
            gaps = steps > GAP_STEPS * self._usual
            if gaps.any():
                self._met.add(f.GAP, at[gaps], self._name)

    def close(self, findings: Findings) -> None:
        """Notes what was met, in one order whatever came first."""
        self._settle()
        met = {code: (lines, count) for code, _, lines, count in self._met.state()}
        for code in (f.BACKWARD, f.DUPLICATE, f.GAP):
            if code in met:
                findings.add_counted(code, *met[code], self._name)

    def state(self) -> dict[str, Any]:
        """What the next rows depend on, JSON-ready; ``go_on`` reads it."""
        head = self._head
        return {
            "last": self._last,
            "usual": self._usual,
            "head": head if head is None else [[s.tolist(), a.tolist()] for s, a in head],
            "met": self._met.state(),
        }

    def go_on(self, state: Mapping[str, Any]) -> None:
        """Go on where a ``state`` was taken."""
        self._last, self._usual = state["last"], state["usual"]
        head = state["head"]
        self._head = (
            head
            if head is None
            else [(np.array(s, dtype=np.float64), np.array(a, dtype=np.int64)) for s, a in head]
        )
        self._met = Findings.from_state(state["met"])


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
    track = OrderTrack(name)
    track.feed(seconds, lines)
    track.close(findings)
