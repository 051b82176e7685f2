"""Measures of single load cycles: fitted extremes, stiffness, loop energy.

A cycle runs from a valley over a peak to the next valley; the trailing valley closes it. Its
valley is the leading one.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from results.domain.reduction.compiled import loop_for
from results.domain.reduction.outcome import Floats, Ints

# Half window of the local fit: this share of a cycle, at most so many samples.
WINDOW_SHARE = 20
WINDOW_MAX = 50
_POINTED_SIGMAS = 3.0

COLUMNS: dict[str, type[np.float64] | type[np.int64] | type[np.bool_]] = {
    "cycle": np.int64,
    "valley_load_kn": np.float64,
    "peak_load_kn": np.float64,
    "valley_deflection_mm": np.float64,
    "peak_deflection_mm": np.float64,
    "stiffness_load_extremes_kn_mm": np.float64,
    "stiffness_deflection_extremes_kn_mm": np.float64,
    "stiffness_regression_kn_mm": np.float64,
    "loop_energy_kn_mm": np.float64,
    "residual_deflection_mm": np.float64,
    "frequency_hz": np.float64,
    "valley_index": np.int64,
    "peak_index": np.int64,
    "next_valley_index": np.int64,
    "samples": np.int64,
    "valley_fit_samples": np.int64,
    "peak_fit_samples": np.int64,
    "static": np.bool_,
    "whole": np.bool_,
}


def fit_kernel(  # noqa: PLR0917 - compiled
    main: Floats,
    other: Floats,
    at: Ints,
    lowest: Ints,
    highest: Ints,
    half: Ints,
    sign: int,
    tolerance: float,
    out_main: Floats,
    out_other: Floats,
    out_half: Ints,
) -> None:
    """Fits extremes of one channel by a parabola and reads the other channel there.

    A least-squares parabola over ``half`` samples on both sides; where it opens the wrong way, has
    its vertex outside or falls short of the sampled extreme by more than ``tolerance``, the window
    is halved; a window without neighbours leaves the sample. The other channel is read from its
    own parabola over the same window.

    Args:
        main, other: the two channels, shape (n,).
        at: positions of the sampled extremes, shape (m,).
        lowest, highest: bounds of the samples that may be used, shape (m,).
        half: half width of the widest window, shape (m,).
        sign: +1 for peaks, −1 for valleys.
        tolerance: in the unit of ``main``.
        out_main, out_other: receive the values, shape (m,).
        out_half: receives the half width of the window that was used, 0 for the sample; (m,).
    """
    for k in range(len(at)):
        centre = at[k]
        best_main = main[centre]
        best_other = other[centre]
        used = 0
        h = min(half[k], centre - lowest[k], highest[k] - centre)
        while h >= 1:
            y0 = 0.0
            y1 = 0.0
            y2 = 0.0
            z0 = 0.0
            z1 = 0.0
            z2 = 0.0
            for j in range(-h, h + 1):
                y = main[centre + j] - main[centre]
                z = other[centre + j] - other[centre]
                y0 += y
                y1 += j * y
                y2 += j * j * y
                z0 += z
                z1 += j * z
                z2 += j * j * z
            # Sums of 1, j² and j⁴ over the window.
            s0 = 2.0 * h + 1.0
            s2 = h * (h + 1.0) * s0 / 3.0
            s4 = s2 * (3.0 * h * (h + 1.0) - 1.0) / 5.0
            det = s0 * s4 - s2 * s2
            curve = (s0 * y2 - s2 * y0) / det
            slope = y1 / s2
            if sign * curve < 0.0 and abs(slope) <= -2.0 * sign * curve * h:
                u = -slope / (2.0 * curve)
                value = (y0 - curve * s2) / s0 + u * (slope + curve * u)
                if sign * value >= -tolerance:
                    best_main = main[centre] + value
                    z_curve = (s0 * z2 - s2 * z0) / det
                    z_level = (z0 - z_curve * s2) / s0
                    best_other = other[centre] + z_level + u * (z1 / s2 + z_curve * u)
                    used = h
                    break
            h = h // 2
        out_main[k] = best_main
        out_other[k] = best_other
        out_half[k] = used


def loop_kernel(  # noqa: PLR0917 - compiled
    load: Floats,
    deflection: Floats,
    first: Ints,
    last: Ints,
    out_energy: Floats,
    out_slope: Floats,
    out_low: Ints,
    out_high: Ints,
) -> None:
    """Loop energy, regression stiffness and deflection extremes of cycles.

    Energy is the trapezoid integral of load over deflection, closed by the straight line from the
    last sample to the first, kN·mm. The slope is that of load on deflection by least squares.

    Args:
        load, deflection: kN and mm, shape (n,).
        first, last: positions of the leading and trailing valleys, shape (m,).
        out_energy, out_slope: receive kN·mm and kN/mm, shape (m,); the slope is NaN where the
            deflection never changes.
        out_low, out_high: receive positions of the smallest and largest deflection, shape (m,).
    """
    for k in range(len(first)):
        a = first[k]
        b = last[k]
        x0 = deflection[a]
        y0 = load[a]
        sx = 0.0
        sy = 0.0
        sxx = 0.0
        sxy = 0.0
        energy = 0.0
        low = a
        high = a
        x_low = 0.0
        x_high = 0.0
        x_before = 0.0
        y_before = 0.0
        for i in range(a, b + 1):
            x = deflection[i] - x0
            y = load[i] - y0
            sx += x
            sy += y
            sxx += x * x
            sxy += x * y
            energy += 0.5 * (y + y_before) * (x - x_before)
            x_before = x
            y_before = y
            if x < x_low:
                x_low = x
                low = i
            if x > x_high:
                x_high = x
                high = i
        energy -= 0.5 * y_before * x_before
        n = b - a + 1
        sxx -= sx * sx / n
        sxy -= sx * sy / n
        out_energy[k] = energy
        out_slope[k] = sxy / sxx if x_high > x_low else np.nan
        out_low[k] = low
        out_high[k] = high


def _ratio(top: Floats, bottom: Floats) -> Floats:
    result = np.full(len(top), np.nan)
    np.divide(top, bottom, out=result, where=bottom != 0.0)
    return result


class CycleMeasure:
    """Measures cycles on a stretch of samples.

    Args:
        load, deflection: kN and mm, shape (n,), finite.
        sigma_load, sigma_deflection: standard deviations of their noise.
        fitted: whether extremes are fitted or sampled.
        effort: samples of the whole record so far; decides whether loops are compiled.
    """

    def __init__(
        self,
        load: Floats,
        deflection: Floats,
        *,
        sigma_load: float,
        sigma_deflection: float,
        fitted: bool,
        effort: int,
    ) -> None:
        self.load, self.deflection = load, deflection
        self.sigma_load, self.sigma_deflection = sigma_load, sigma_deflection
        self.fitted = fitted
        self.effort = effort

    def _extremes(  # noqa: PLR0917
        self,
        main: Floats,
        other: Floats,
        at: Ints,
        bounds: tuple[Ints, Ints],
        half: Ints,
        sign: int,
        sigma: float,
    ) -> tuple[Floats, Floats, Ints]:
        if not self.fitted:
            return main[at], other[at], np.zeros_like(at)
        out_main, out_other, out_half = np.empty(len(at)), np.empty(len(at)), np.empty_like(at)
        fit = loop_for(fit_kernel, self.effort)
        tolerance = _POINTED_SIGMAS * sigma
        fit(main, other, at, *bounds, half, sign, tolerance, out_main, out_other, out_half)
        return out_main, out_other, out_half

    def table(
        self, valley: Ints, peak: Ints, next_valley: Ints, *, lowest: int, by_load: bool
    ) -> dict[str, npt.NDArray[Any]]:
        """Measures of cycles between given valleys and peaks.

        Args:
            valley, peak, next_valley: positions in the stretch, shape (m,).
            lowest: first position of the stretch that belongs to the same unbroken record.
            by_load: whether the positions are extremes of load or of deflection.

        Returns:
            The measured columns of ``COLUMNS`` but the frequency, each of shape (m,).
        """
        length = next_valley - valley
        half = np.clip(length // WINDOW_SHARE, 1, WINDOW_MAX)
        before = (np.maximum(valley - WINDOW_MAX, lowest), peak)
        inside = (valley, next_valley)
        main, other = (self.load, self.deflection) if by_load else (self.deflection, self.load)
        sigma = self.sigma_load if by_load else self.sigma_deflection
        low, low_other, low_half = self._extremes(main, other, valley, before, half, -1, sigma)
        high, high_other, high_half = self._extremes(main, other, peak, inside, half, 1, sigma)
        if not by_load:
            low, low_other, high, high_other = low_other, low, high_other, high
        energy, slope = np.empty(len(valley)), np.empty(len(valley))
        at_low, at_high = np.empty_like(valley), np.empty_like(valley)
        loop = loop_for(loop_kernel, self.effort)
        loop(self.load, self.deflection, valley, next_valley, energy, slope, at_low, at_high)
        sides = (np.maximum(at_low - WINDOW_MAX, before[0]), next_valley)
        smallest, _, _ = self._extremes(
            self.deflection, self.load, at_low, sides, half, -1, self.sigma_deflection
        )
        largest, _, _ = self._extremes(
            self.deflection, self.load, at_high, inside, half, 1, self.sigma_deflection
        )
        return {
            "valley_load_kn": low,
            "peak_load_kn": high,
            "valley_deflection_mm": low_other,
            "peak_deflection_mm": high_other,
            "stiffness_load_extremes_kn_mm": _ratio(high - low, high_other - low_other),
            "stiffness_deflection_extremes_kn_mm": _ratio(high - low, largest - smallest),
            "stiffness_regression_kn_mm": slope,
            "loop_energy_kn_mm": energy,
            "residual_deflection_mm": low_other,
            "valley_fit_samples": 2 * low_half + 1,
            "peak_fit_samples": 2 * high_half + 1,
        }
