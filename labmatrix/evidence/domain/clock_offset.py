"""The offset between the clocks of two files, found where their common load channel agrees.

The loads are laid on one grid of time and correlated at every lag (with gaps masked out: Padfield,
"Masked object registration in the Fourier domain", IEEE Transactions on Image Processing 21(5),
2012; recalled, not re-read). The best lag is refined between samples by least squares. An offset
is convincing when the loads agree closely and no other lag fits nearly as well; a load that repeats
itself is refused rather than joined a cycle off.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from labmatrix.evidence.domain.load_fit import (
    MOST_SAMPLES,
    Array,
    LoadTrace,
    common_loads,
    fitted_offset,
    masked_correlation,
    on_grid,
)
from labmatrix.kernel.errors import ShapeError

# The correlation below which two channels are not the same load.
LEAST_CORRELATION = 0.95
# What the best lag leaves unexplained must be at most half of what any other lag leaves.
LEAST_MARGIN = 2.0
# The share of the shorter file that must overlap.
LEAST_OVERLAP = 0.5
_LEAST_SAMPLES = 16
# The hill of a peak ends where this many times as much is left unexplained as at its top.
_HILL_FOOT = 4.0
_PEAKS_LOOKED_AT = 8
_DRIFT_SAMPLES = 8.0
# The grid is finer than the samples, so that no peak is missed between two of them.
_STEPS_TO_A_SAMPLE = 4


@dataclass(frozen=True)
class ClockOffset:
    """How the clock of one file stands to that of the reference, and how well that is known.

    Attributes:
        reference, file: the two files.
        offset_s: ``time in the reference = time in the file + offset``, in s.
        uncertainty_s: standard uncertainty of the offset from the scatter of the loads, in s.
        correlation: of the two loads at the offset, 0 to 1.
        margin: unexplained variance at the next best offset over that at this one; None where
            the loads agree nowhere else.
        next_offset_s: the next best offset, or None.
        overlap_s: length of the common time in s.
        gain: slope of the file's load over the reference's; 1 where both are calibrated alike.
        residual_kn: standard deviation of what remains between the loads in kN.
        drift_s: offset of the last third of the common time less that of the first third, in s.
    """

    reference: str
    file: str
    offset_s: float
    uncertainty_s: float
    correlation: float
    margin: float | None
    next_offset_s: float | None
    overlap_s: float
    gain: float
    residual_kn: float
    drift_s: float


def clock_offset(
    reference: LoadTrace, other: LoadTrace, *, search_s: tuple[float, float] | None = None
) -> ClockOffset:
    """The offset between two clocks from the load that both files carry.

    Args:
        reference: the file whose clock counts.
        other: the file to be moved.
        search_s: smallest and largest offset to try, in s; None tries every one that lets half of
            the shorter file overlap.

    Raises:
        ShapeError: ``join.too-short``, ``join.constant-load``, ``join.opposite``,
            ``join.not-convincing`` or ``join.repeats``.
    """
    _refuse_unusable(reference)
    _refuse_unusable(other)
    step = _grid_step(reference, other)
    lags, correlation = _correlations(reference, other, step, search_s)
    best = int(np.argmax(correlation))
    _refuse_weak(reference, other, lags, correlation, best)
    peaks = [best, *_other_peaks(correlation, best)]
    sample = max(reference.step, other.step)
    fits = [fitted_offset(reference, other, float(lags[peak]), sample) for peak in peaks]
    fit, *others = sorted(fits, key=lambda one: -one.correlation)
    runner = others[0] if others else None
    margin = None if runner is None else runner.left / fit.left
    if runner is not None and margin is not None and margin < LEAST_MARGIN:
        raise _repeats(reference, other, fit.offset, runner.offset)
    return ClockOffset(
        reference=reference.file,
        file=other.file,
        offset_s=fit.offset,
        uncertainty_s=fit.uncertainty,
        correlation=fit.correlation,
        margin=margin,
        next_offset_s=None if runner is None else runner.offset,
        overlap_s=fit.overlap,
        gain=fit.gain,
        residual_kn=fit.residual,
        drift_s=_drift(reference, other, fit.offset, sample),
    )


def _refuse_unusable(trace: LoadTrace) -> None:
    if len(trace.time) < _LEAST_SAMPLES:
        raise ShapeError(
            "join.too-short",
            f"{trace.file} has {len(trace.time)} samples with time and load; joining needs at "
            f"least {_LEAST_SAMPLES}.",
            file=trace.file,
            samples=len(trace.time),
        )
    if float(np.ptp(trace.load)) == 0.0:
        raise ShapeError(
            "join.constant-load",
            f"The load in {trace.file} never changes, so that no moment can be told from another; "
            "state the clock offset.",
            file=trace.file,
        )


def _grid_step(reference: LoadTrace, other: LoadTrace) -> float:
    """A step of the grid that resolves a sample and lets the longer file fit."""
    longest = max(float(np.ptp(reference.time)), float(np.ptp(other.time)))
    fine = max(reference.step, other.step) / _STEPS_TO_A_SAMPLE
    return max(fine, min(longest / MOST_SAMPLES, fine * _STEPS_TO_A_SAMPLE))


def _correlations(
    reference: LoadTrace,
    other: LoadTrace,
    step: float,
    search_s: tuple[float, float] | None,
) -> tuple[Array, Array]:
    """Offsets that overlap enough, and the correlation of the loads at each."""
    a, a_known = on_grid(reference, step)
    b, b_known = on_grid(other, step)
    count, correlation = masked_correlation(a, a_known, b, b_known)
    shifts = np.arange(-(len(b) - 1), len(a))
    lags = reference.time[0] - other.time[0] + step * shifts
    enough = count >= max(_LEAST_SAMPLES, LEAST_OVERLAP * min(a_known.sum(), b_known.sum()))
    if search_s is not None:
        enough &= (lags >= search_s[0] - step) & (lags <= search_s[1] + step)
    if not enough.any():
        raise ShapeError(
            "join.no-overlap",
            f"{other.file} and {reference.file} have no common time within the offsets that were "
            "to be tried; widen the search.",
            reference=reference.file,
            file=other.file,
            search_s=list(search_s) if search_s else None,
        )
    return lags, np.where(enough, correlation, -np.inf)


def _refuse_weak(
    reference: LoadTrace, other: LoadTrace, lags: Array, correlation: Array, best: int
) -> None:
    if correlation[best] >= LEAST_CORRELATION:
        return
    tried = np.isfinite(correlation)
    opposite = float(correlation[tried].min())
    if -opposite >= LEAST_CORRELATION and -opposite > correlation[best]:
        raise ShapeError(
            "join.opposite",
            f"The load in {other.file} runs opposite to that in {reference.file} (correlation "
            f"{opposite:.3f}); turn the sign of one of them in the channel map.",
            reference=reference.file,
            file=other.file,
            correlation=opposite,
        )
    raise ShapeError(
        "join.not-convincing",
        f"The loads in {other.file} and {reference.file} agree at no offset: the best, "
        f"{lags[best]:.3f} s, correlates with {correlation[best]:.3f}; needed is "
        f"{LEAST_CORRELATION:g}. Check that both columns are the same load, or state the offset.",
        reference=reference.file,
        file=other.file,
        offset_s=float(lags[best]),
        correlation=float(correlation[best]),
        needed=LEAST_CORRELATION,
    )


def _repeats(reference: LoadTrace, other: LoadTrace, offset: float, runner: float) -> ShapeError:
    return ShapeError(
        "join.repeats",
        f"The load in {other.file} repeats itself: offsets of {offset:.3f} s and {runner:.3f} s to "
        f"{reference.file} fit about as well. Narrow the search, or send files that hold the "
        "start or a stop of the test.",
        reference=reference.file,
        file=other.file,
        offsets_s=[offset, runner],
    )


def _other_peaks(correlation: Array, best: int) -> list[int]:
    """The highest peaks of the correlation outside the hill on which the best lag stands."""
    left = 1.0 - np.where(np.isfinite(correlation), np.maximum(correlation, 0.0), 0.0) ** 2
    far = np.flatnonzero(left > _HILL_FOOT * max(float(left[best]), 1e-9))
    low = int(far[far < best].max(initial=0))
    high = int(far[far > best].min(initial=len(left) - 1))
    inner = left[1:-1]
    peaks = 1 + np.flatnonzero((inner <= left[:-2]) & (inner <= left[2:]) & (inner < 1.0))
    peaks = peaks[(peaks < low) | (peaks > high)]
    return [int(peak) for peak in peaks[np.argsort(left[peaks])][:_PEAKS_LOOKED_AT]]


def _drift(reference: LoadTrace, other: LoadTrace, offset: float, sample: float) -> float:
    """Offset of the last third of the common time less that of the first third; 0 where a third
    holds too little change of load to tell."""
    _, _, time = common_loads(reference, other, offset)
    borders = np.linspace(time[0], time[-1], 4)
    ends = []
    for low, high in ((borders[0], borders[1]), (borders[2], borders[3])):
        inside = (reference.time >= low) & (reference.time <= high)
        part = LoadTrace(reference.file, reference.time[inside], reference.load[inside])
        if len(part.time) < _LEAST_SAMPLES or np.ptp(part.load) < 0.05 * np.ptp(reference.load):
            return 0.0
        ends.append(fitted_offset(part, other, offset, _DRIFT_SAMPLES * sample).offset)
    return ends[1] - ends[0]
