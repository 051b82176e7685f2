"""The load of a file of any length, kept light enough to be laid on that of another file.

A long test repeats itself; what tells its moments apart is where the cycling starts, stops or
changes. Of a short file everything is kept, of a long one the stretches around such changes with
its beginning and its end, and for the whole file how far the load moves in each window of time.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

from labmatrix.evidence.domain.clock_offset import LEAST_OVERLAP, ClockOffset, clock_offset
from labmatrix.evidence.domain.load_fit import Array, LoadTrace, masked_correlation, on_grid
from labmatrix.kernel.errors import ShapeError

# Files up to so many samples are kept whole.
WHOLE_SAMPLES = 400_000
WINDOW = 512
# A window is eventful where its smallest or largest load moves by this share of the range so far.
_MOVED = 0.1
_AROUND, _ENDS, _MOST_WINDOWS = 2, 4, 600
# Coarse offsets that are tried in full, and how far around each.
_TRIED, _REACH_WINDOWS = 4, 3.0


@dataclass(frozen=True)
class KeptLoad:
    """A load as ``LoadKeeper`` kept it.

    Attributes:
        trace: samples, the stretches between them left out.
        activity: range of the load in each window, at the middle of the window.
        window_s: usual length of a window in s.
        whole: whether ``trace`` holds every sample.
        samples: how many there were.
    """

    trace: LoadTrace
    activity: LoadTrace
    window_s: float
    whole: bool
    samples: int


class LoadKeeper:
    """Keeps the load of a file that goes by in pieces.

    Args:
        file: its name.
    """

    def __init__(self, file: str) -> None:
        self._file = file
        self._highest = -np.inf
        self._samples = 0
        self._whole: list[tuple[Array, Array]] | None = []
        self._left: tuple[Array, Array] = (np.empty(0), np.empty(0))
        self._recent: deque[tuple[int, Array, Array]] = deque(maxlen=max(_AROUND, _ENDS) + 1)
        self._kept: dict[int, tuple[Array, Array]] = {}
        self._windows: list[tuple[float, float, float, float]] = []
        self._until = _ENDS
        self._span: tuple[float, float] | None = None

    def feed(self, time: Array, load: Array) -> None:
        """Takes the next rows: s and kN, shape (rows,), NaN where missing."""
        there = np.isfinite(time) & np.isfinite(load)
        time, load = time[there], load[there]
        if not len(time):
            return
        highest = np.maximum.accumulate(time)
        rising = time > np.maximum(np.concatenate(([-np.inf], highest[:-1])), self._highest)
        self._highest = max(self._highest, float(highest[-1]))
        time, load = time[rising], load[rising]
        self._samples += len(time)
        if self._whole is not None:
            self._whole.append((time, load))
            if self._samples > WHOLE_SAMPLES:
                self._whole = None
        time, load = (np.concatenate(pair) for pair in zip(self._left, (time, load), strict=True))
        whole = len(time) // WINDOW * WINDOW
        for start in range(0, whole, WINDOW):
            self._window(time[start : start + WINDOW], load[start : start + WINDOW])
        self._left = time[whole:].copy(), load[whole:].copy()

    def _window(self, time: Array, load: Array) -> None:
        number = len(self._windows)
        low, high = float(load.min()), float(load.max())
        self._windows.append((float(time[0]), float(time[-1]), low, high))
        self._recent.append((number, time.copy(), load.copy()))
        least, most = self._span or (low, high)
        self._span = (min(least, low), max(most, high))
        moved = _MOVED * (self._span[1] - self._span[0])
        if number:
            _, _, low_before, high_before = self._windows[-2]
            if max(abs(low - low_before), abs(high - high_before)) > moved:
                self._until = number + _AROUND + 1
                for before, *samples in list(self._recent)[-_AROUND - 1 :]:
                    self._keep(before, *samples)
        if number < self._until:
            self._keep(number, time, load)

    def _keep(self, number: int, time: Array, load: Array) -> None:
        if len(self._kept) < _MOST_WINDOWS:
            self._kept.setdefault(number, (time, load))

    def kept(self) -> KeptLoad:
        """What is kept of the file so far."""
        windows = np.array(self._windows).reshape(-1, 4)
        activity = LoadTrace(
            self._file, (windows[:, 0] + windows[:, 1]) / 2, windows[:, 3] - windows[:, 2]
        )
        if self._whole is not None:
            parts = self._whole
        else:
            last = {number: (time, load) for number, time, load in list(self._recent)[-_ENDS:]}
            parts = [pair for _, pair in sorted((self._kept | last).items())] + [self._left]
        time, load = (
            (np.concatenate([np.empty(0), *column]) for column in zip(*parts, strict=True))
            if parts
            else (np.empty(0), np.empty(0))
        )
        lengths = windows[:, 1] - windows[:, 0]
        return KeptLoad(
            trace=LoadTrace(self._file, time, load),
            activity=activity,
            window_s=float(np.median(lengths)) if len(lengths) else 0.0,
            whole=self._whole is not None,
            samples=self._samples,
        )


def long_offset(
    reference: KeptLoad, other: KeptLoad, *, search_s: tuple[float, float] | None = None
) -> ClockOffset:
    """The offset between the clocks of two files of any length, as ``clock_offset``.

    Where one of them is long, the moments at which the load starts, stops or changes point to a
    few offsets first; each is then tried in full, and the one under which the loads agree best
    counts. A long load has stretches that look alike: an offset under which less than half of the
    shorter file could be compared is no offset, however well that little agrees.

    Raises:
        ShapeError: ``join.…``, as ``clock_offset``; ``join.one-moment`` where the loads agree for
            a moment only.
    """
    reach = _REACH_WINDOWS * max(reference.window_s, other.window_s)
    is_narrow = search_s is not None and search_s[1] - search_s[0] <= 2.0 * reach
    if is_narrow or (reference.whole and other.whole):
        return clock_offset(reference.trace, _near(reference, other, search_s), search_s=search_s)
    found: list[ClockOffset] = []
    refused: list[ShapeError] = []
    for coarse in _coarse_offsets(reference, other, search_s, reach):
        window = (coarse - reach, coarse + reach)
        try:
            near = _near(reference, other, window)
            found.append(clock_offset(reference.trace, near, search_s=window))
        except ShapeError as error:
            refused.append(error)
    shorter = min(float(np.ptp(kept.trace.time)) for kept in (reference, other)) if found else 0.0
    wide = [one for one in found if one.overlap_s >= LEAST_OVERLAP * shorter]
    if wide:
        return max(wide, key=lambda one: one.correlation)
    if found:
        raise _one_moment(max(found, key=lambda one: one.overlap_s), shorter)
    raise next((e for e in refused if e.code == "join.repeats"), None) or ShapeError(
        "join.not-convincing",
        f"The loads in {other.trace.file} and {reference.trace.file} nowhere start, stop and "
        "change at the same times. Check that both columns are the same load, or state the clock "
        "offset.",
        reference=reference.trace.file,
        file=other.trace.file,
    )


def _one_moment(best: ClockOffset, shorter: float) -> ShapeError:
    return ShapeError(
        "join.one-moment",
        f"The loads in {best.file} and {best.reference} agree for {best.overlap_s:.0f} s at an "
        f"offset of {best.offset_s:.3f} s, and could not be compared over half of the shorter file "
        f"({shorter:.0f} s). Check that both hold the same test, or state the clock offset.",
        reference=best.reference,
        file=best.file,
        offset_s=best.offset_s,
        overlap_s=best.overlap_s,
        needed_s=LEAST_OVERLAP * shorter,
    )


def _near(reference: KeptLoad, other: KeptLoad, search_s: tuple[float, float] | None) -> LoadTrace:
    """The part of a trace that can lie beside the reference within the offsets to be tried."""
    if search_s is None or not len(reference.trace.time):
        return other.trace
    time = other.trace.time
    low = reference.trace.time[0] - search_s[1]
    high = reference.trace.time[-1] - search_s[0]
    inside = (time >= low) & (time <= high)
    return LoadTrace(other.trace.file, time[inside], other.trace.load[inside])


def _coarse_offsets(
    reference: KeptLoad, other: KeptLoad, search_s: tuple[float, float] | None, reach: float
) -> list[float]:
    """Offsets at which both loads are active and at rest at the same times, the best first, each
    further than ``reach`` seconds from the others and none further than that from the search."""
    if min(len(reference.activity.time), len(other.activity.time)) < 2:
        return []
    step = max(min(reference.window_s, other.window_s) / 2.0, 1e-9)
    a, a_known = on_grid(reference.activity, step)
    b, b_known = on_grid(other.activity, step)
    count, correlation = masked_correlation(a, a_known, b, b_known)
    enough = count >= 0.5 * min(a_known.sum(), b_known.sum())
    lags = reference.activity.time[0] - other.activity.time[0]
    lags = lags + step * np.arange(-(len(b) - 1), len(a))
    if search_s is not None:
        enough &= (lags >= search_s[0] - reach) & (lags <= search_s[1] + reach)
    correlation = np.where(enough, correlation, -np.inf)
    offsets: list[float] = []
    for _ in range(_TRIED):
        best = int(np.argmax(correlation))
        if not np.isfinite(correlation[best]):
            break
        offsets.append(float(lags[best]))
        around = int(np.ceil(reach / step))
        correlation[max(0, best - around) : best + around + 1] = -np.inf
    return offsets
