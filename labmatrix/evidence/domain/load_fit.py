"""Two recordings of one load laid on each other: correlation at every lag, fit between samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

# The longest grid that is correlated at once.
MOST_SAMPLES = 1 << 21
# A step longer than so many usual ones is a gap, across which nothing is known.
GAP_STEPS = 10.0
_REFINED_SAMPLES = 200_000
_LAGS = 50


@dataclass(frozen=True)
class LoadTrace:
    """A load over the time of its own clock.

    Attributes:
        file: where it comes from.
        time: seconds, shape (rows,), finite and rising.
        load: kN, shape (rows,), finite.
    """

    file: str
    time: Array
    load: Array

    @property
    def step(self) -> float:
        """Usual (median) time between two samples in s."""
        return float(np.median(np.diff(self.time)))


def on_grid(trace: LoadTrace, step: float) -> tuple[Array, Array]:
    """Load on a grid of ``step`` from the trace's start, and 1 where samples are near, else 0.

    A trace longer than ``MOST_SAMPLES`` steps gives its first part.
    """
    count = min(int((trace.time[-1] - trace.time[0]) / step) + 1, MOST_SAMPLES)
    grid = trace.time[0] + step * np.arange(count)
    load = np.interp(grid, trace.time, trace.load)
    after = np.searchsorted(trace.time, grid).clip(1, len(trace.time) - 1)
    wide = trace.time[after] - trace.time[after - 1]
    known = (wide <= GAP_STEPS * max(step, trace.step)).astype(np.float64)
    return load, known


def masked_correlation(a: Array, a_known: Array, b: Array, b_known: Array) -> tuple[Array, Array]:
    """Number of common samples and Pearson correlation for every shift of b along a.

    Padfield, "Masked object registration in the Fourier domain", IEEE Transactions on Image
    Processing 21(5), 2012; recalled, not re-read.

    Args:
        a, b: loads on one grid, shapes (n,) and (m,).
        a_known, b_known: 1 where the load is known, else 0.

    Returns:
        Two arrays of n + m − 1 values for shifts −(m − 1) … n − 1.
    """
    from scipy import fft

    size = fft.next_fast_len(len(a) + len(b) - 1, real=True)

    def spectrum(x: Array) -> NDArray[np.complex128]:
        transformed: NDArray[np.complex128] = fft.rfft(x, size)
        return transformed

    def common(x: NDArray[np.complex128], y: NDArray[np.complex128]) -> Array:
        full: Array = fft.irfft(x * np.conj(y), size)
        return np.concatenate((full[size - len(b) + 1 :], full[: len(a)]))

    a0 = (a - a[a_known > 0].mean()) * a_known
    b0 = (b - b[b_known > 0].mean()) * b_known
    fa, fb, ma, mb = spectrum(a0), spectrum(b0), spectrum(a_known), spectrum(b_known)
    count = np.round(common(ma, mb))
    safe = np.maximum(count, 1.0)
    sum_a, sum_b = common(fa, mb), common(ma, fb)
    var_a = common(spectrum(a0**2), mb) - sum_a**2 / safe
    var_b = common(ma, spectrum(b0**2)) - sum_b**2 / safe
    covariance = common(fa, fb) - sum_a * sum_b / safe
    # A stretch without a change of load correlates with nothing.
    floor = 1e-9 * max(float(var_a.max()), float(var_b.max()))
    sound = (var_a > floor) & (var_b > floor)
    scale = np.sqrt(np.where(sound, var_a * var_b, 1.0))
    return count, np.where(sound, np.clip(covariance / scale, -1.0, 1.0), 0.0)


@dataclass(frozen=True)
class LoadFit:
    """Two loads laid on each other.

    Attributes:
        offset: s, ``time in the reference = time in the other + offset``.
        uncertainty: its standard uncertainty in s.
        correlation: of the loads there.
        gain: slope of the other load over the reference.
        residual: standard deviation of what remains, kN.
        overlap: common time, s.
    """

    offset: float
    uncertainty: float
    correlation: float
    gain: float
    residual: float
    overlap: float

    @property
    def left(self) -> float:
        """Share of the variance that the fit leaves unexplained; never quite nothing."""
        return max(1.0 - max(self.correlation, 0.0) ** 2, 1e-12)


def fitted_offset(reference: LoadTrace, other: LoadTrace, coarse: float, within: float) -> LoadFit:
    """The offset within a stretch around the coarse one that leaves least between the loads."""
    from scipy.optimize import minimize_scalar

    def unexplained(offset: float) -> float:
        a, b, _ = common_loads(reference, other, offset)
        return 1.0 - float(np.corrcoef(a, b)[0, 1]) ** 2

    bounds = (coarse - within, coarse + within)
    found = minimize_scalar(
        unexplained, bounds=bounds, method="bounded", options={"xatol": 1e-5 * within}
    )
    offset = float(found.x)
    a, b, time = common_loads(reference, other, offset)
    gain, level = np.polyfit(a - a.mean(), b, 1)
    residual = b - level - gain * (a - a.mean())
    beside = 2.0 * max(reference.step, other.step)
    worse = (unexplained(offset - beside) + unexplained(offset + beside)) / 2.0 - found.fun
    rates = np.gradient(residual, time)
    noise = float(np.var(rates)) * beside**2 / (2.0 * float(np.var(b)))
    return LoadFit(
        offset=offset,
        uncertainty=_offset_uncertainty(
            float(found.fun), worse, noise, beside=beside, independent=_independent(residual)
        ),
        correlation=float(np.corrcoef(a, b)[0, 1]),
        gain=float(gain),
        residual=float(np.std(residual)),
        overlap=float(time[-1] - time[0]),
    )


def _offset_uncertainty(
    left: float, worse: float, noise: float, *, beside: float, independent: float
) -> float:
    """Standard uncertainty of a least-squares offset, from how fast the fit worsens beside it.

    Args:
        left: unexplained share of the variance at the offset.
        worse: by how much it rises at ``beside`` seconds from there.
        noise: by how much the noise of one load changes over ``beside``, as such a share: noise
            on the moved load makes the fit waver as well.
        beside: s.
        independent: number of independent values that were compared.
    """
    if worse <= 0.0:
        return float("inf")
    return float(np.sqrt(left * beside**2 * (1.0 + noise / worse) / (worse * independent)))


def _independent(residual: Array) -> float:
    """How many independent values a series is worth: its length over 1 + 2 Σ of its positive
    autocorrelations up to the first that is not (means over two steps always share samples)."""
    centred = residual - residual.mean()
    power = float(np.dot(centred, centred))
    total = 1.0
    for lag in range(1, min(_LAGS, len(centred) - 1)):
        share = float(np.dot(centred[:-lag], centred[lag:])) / power if power > 0 else 0.0
        if share <= 0.0:
            break
        total += 2.0 * share
    return max(len(centred) / total, 1.0)


def common_loads(
    reference: LoadTrace, other: LoadTrace, offset: float
) -> tuple[Array, Array, Array]:
    """Both loads, each as its mean over two of the longer steps, in the common time, and that time.

    Without the mean, a point between two samples would carry less noise than one on a sample, and
    the best fit would lean towards it. Where either load has a gap, nothing is compared.
    """
    width = 2.0 * max(reference.step, other.step)
    coarser = other.time + offset if other.step >= reference.step else reference.time
    start = max(reference.time[0], other.time[0] + offset) + width / 2
    stop = min(reference.time[-1], other.time[-1] + offset) - width / 2
    at = coarser[(coarser >= start) & (coarser <= stop)]
    at = at[_without_gap(reference, at, width) & _without_gap(other, at - offset, width)]
    at = _thinned(at)
    return _mean_around(reference, at, width), _mean_around(other, at - offset, width), at


def _without_gap(trace: LoadTrace, at: Array, width: float) -> NDArray[np.bool_]:
    """Where no step of the trace within ``width`` around a time is longer than ten usual ones."""
    wide = np.diff(trace.time) > GAP_STEPS * trace.step
    if not wide.any():
        return np.ones(len(at), dtype=np.bool_)
    before = np.concatenate(([0], np.cumsum(wide)))
    last = len(trace.time) - 1
    low = np.searchsorted(trace.time, at - width / 2, side="right").clip(1, last) - 1
    high = np.searchsorted(trace.time, at + width / 2, side="left").clip(1, last)
    clear: NDArray[np.bool_] = before[high] == before[low]
    return clear


def _mean_around(trace: LoadTrace, at: Array, width: float) -> Array:
    """Mean of the load, straight between samples, over ``width`` around each time."""
    steps = np.diff(trace.time)
    areas = np.concatenate(([0.0], np.cumsum(steps * (trace.load[1:] + trace.load[:-1]) / 2)))

    def area(time: Array) -> Array:
        index = np.searchsorted(trace.time, time, side="right").clip(1, len(trace.time) - 1) - 1
        into = time - trace.time[index]
        slope = (trace.load[index + 1] - trace.load[index]) / steps[index]
        return np.asarray(areas[index] + into * (trace.load[index] + slope * into / 2))

    return (area(at + width / 2) - area(at - width / 2)) / width


def _thinned(time: Array) -> Array:
    return time[:: max(1, len(time) // _REFINED_SAMPLES)]
