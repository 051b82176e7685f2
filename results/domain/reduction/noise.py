"""Noise of a record: its level, its resolution, and the band that hides it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from results.domain.reduction.outcome import Floats

# Sixth differences of white noise have a variance of C(12, 6) times its own; a slow signal all
# but vanishes in them.
_ORDER, _GAIN = 6, math.sqrt(924.0)
_NORMAL_MEDIAN = 0.6744897501960817
FEWEST = 64

BAND_RULE = (
    "twelve times the standard deviation of the noise, but at least four times the resolution and "
    "at least 2 % of the range, judged on the first 200 000 samples"
)
# Share of equal neighbours from which on a channel is taken to move in steps.
_REPEATED = 0.05
# Share of reversals from which on a record holds extremes alone.
_EXTREMES = 0.9
_SIGMAS, _STEPS, _SHARE = 12.0, 4.0, 0.02


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of one channel, in the unit of the channel.

    Attributes:
        sigma: standard deviation of its white noise; at least resolution/√12.
        resolution: smallest step between two samples, where samples repeat often enough to show
            that the channel moves in steps; else 0 (rounding is then part of the noise).
        spread: range between its 0.1 and 99.9 percentiles.
    """

    sigma: float
    resolution: float
    spread: float

    @property
    def band(self) -> float:
        """Moves up to this size are noise; the rule is ``BAND_RULE``."""
        return max(_SIGMAS * self.sigma, _STEPS * self.resolution, _SHARE * self.spread)


def _only_extremes(values: Floats) -> bool:
    steps = np.diff(values)
    turns = int(np.count_nonzero(steps[1:] * steps[:-1] < 0.0))
    return turns >= _EXTREMES * (len(steps) - 1)


def noise_of(values: Floats) -> Noise:
    """Noise of a channel.

    The level is the median absolute sixth difference, so that neither the signal nor a few jumps
    enter it. Records shorter than ``FEWEST`` samples, and records of extremes alone (nine samples
    in ten are reversals; two in three are with mere noise), show no noise that could be told from
    signal.

    Args:
        values: finite samples in order, shape (n,).
    """
    if len(values) < FEWEST:
        spread = float(np.ptp(values)) if len(values) else 0.0
        return Noise(sigma=0.0, resolution=0.0, spread=spread)
    steps = np.abs(np.diff(values))
    moved = steps[steps > 0.0]
    stepped = len(moved) and len(steps) - len(moved) >= _REPEATED * len(steps)
    resolution = float(moved.min()) if stepped else 0.0
    if _only_extremes(values):
        sigma = resolution / math.sqrt(12.0)
        return Noise(sigma=sigma, resolution=resolution, spread=float(np.ptp(values)))
    rough = float(np.median(np.abs(np.diff(values, _ORDER)))) / _NORMAL_MEDIAN / _GAIN
    low, high = np.percentile(values, (0.1, 99.9))
    return Noise(
        sigma=max(rough, resolution / math.sqrt(12.0)),
        resolution=resolution,
        spread=float(high - low),
    )
