"""Machine time, and whether an actuator can follow: stroke times frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from labmatrix.kernel.errors import RangeError
from results.domain.mechanics.ranges import number


def machine_hours(cycles: float, frequency_hz: float) -> float:
    """Machine-on time, h: cycles/(3600 f).

    Raises:
        RangeError: cycles outside 1 to 1e9, frequency outside 0.001 to 50 Hz.
    """
    number("cycles", cycles, low=1.0, high=1e9)
    number("frequency_hz", frequency_hz, low=0.001, high=50.0, unit="Hz")
    return cycles / frequency_hz / 3600.0


def calendar_days(
    hours: float, *, hours_per_day: float, checkpoints: int, hours_each: float
) -> float:
    """Days in the laboratory with the slow loading at checkpoints.

    Args:
        hours: machine-on time, h.
        hours_per_day: that the rig may run unattended or not, h.
        checkpoints: how often cycling stops.
        hours_each: for one stop, h.
    """
    number("hours_per_day", hours_per_day, low=0.5, high=24.0, unit="h")
    number("checkpoints", checkpoints, low=0, high=10_000)
    number("hours_each", hours_each, low=0.0, high=48.0, unit="h")
    return (hours + checkpoints * hours_each) / hours_per_day


@dataclass(frozen=True)
class Actuator:
    """What a servo-hydraulic actuator can do.

    Its speed is bounded by the oil: give either flow and piston area, or points of its
    performance curve (frequency Hz, peak-to-peak stroke mm), read between on log scales.

    Args:
        force_n: rated dynamic force.
        stroke_mm: full travel.
        flow_l_per_min: of pump and valve.
        piston_mm2: effective area.
        performance: points with rising frequency.
    """

    force_n: float
    stroke_mm: float
    flow_l_per_min: float | None = None
    piston_mm2: float | None = None
    performance: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        number("force_n", self.force_n, low=100.0, high=1e8, unit="N")
        number("stroke_mm", self.stroke_mm, low=1.0, high=3000.0, unit="mm")
        if self.flow_l_per_min is not None:
            number("flow_l_per_min", self.flow_l_per_min, low=0.1, high=10_000.0, unit="L/min")
            number("piston_mm2", self.piston_mm2, low=10.0, high=1e6, unit="mm²")
        for frequency, stroke in self.performance:
            number("performance frequency", frequency, low=0.001, high=200.0, unit="Hz")
            number("performance stroke", stroke, low=1e-4, high=3000.0, unit="mm")
        frequencies = [frequency for frequency, _ in self.performance]
        if any(b <= a for a, b in pairwise(frequencies)):
            raise RangeError("performance", str(frequencies), "points with rising frequency")

    def largest_range_mm(self, frequency_hz: float) -> float | None:
        """Largest peak-to-peak sine at a frequency, mm; None where nothing is known of its speed.

        From flow: the peak speed of a sine, π f s, times the piston area is the flow.
        """
        number("frequency_hz", frequency_hz, low=0.001, high=50.0, unit="Hz")
        bounds = []
        if self.flow_l_per_min is not None and self.piston_mm2 is not None:
            speed = self.flow_l_per_min * 1e6 / 60.0 / self.piston_mm2
            bounds.append(speed / (math.pi * frequency_hz))
        if self.performance:
            frequencies, strokes = np.log(np.array(self.performance)).T
            bounds.append(float(np.exp(np.interp(math.log(frequency_hz), frequencies, strokes))))
        return min([*bounds, self.stroke_mm]) if bounds else None
