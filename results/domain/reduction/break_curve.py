"""The envelope of a load–deflection record, and what can be read off it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from results.domain.reduction.outcome import Floats, Ints, Point

_STAY = 3
_LOCAL_SHARE = 0.01
_LOCAL_FEWEST = 8


@dataclass(frozen=True)
class Curve:
    """An envelope: load over deflection that never goes back.

    Attributes:
        index: rows of the record, shape (n,).
        deflection: mm, never falling, shape (n,); equal neighbours are a loss of load.
        load: kN, shape (n,).
        sigma: standard deviation of the noise of the load, kN.
    """

    index: Ints
    deflection: Floats
    load: Floats
    sigma: float

    @property
    def peak_at(self) -> int:
        """Position of the largest load."""
        return int(np.argmax(self.load))

    @property
    def peak_load(self) -> float:
        """kN."""
        return float(self.load[self.peak_at])

    @property
    def peak_deflection(self) -> float:
        """mm."""
        return float(self.deflection[self.peak_at])

    @property
    def end(self) -> float:
        """Last deflection, mm."""
        return float(self.deflection[-1])

    def load_at(self, deflection: float) -> float:
        """Load at a deflection, kN, linear between samples."""
        return float(np.interp(deflection, self.deflection, self.load))

    def point(self, deflection: float, load: float, label: str) -> Point:
        """A mark at the sample nearest to a place on the curve."""
        right = int(np.searchsorted(self.deflection, deflection))
        near = [k for k in (right - 1, right) if 0 <= k < len(self.index)]
        best = min(near, key=lambda k: abs(float(self.deflection[k]) - deflection))
        return Point(int(self.index[best]), deflection, load, label)

    def energy_to(self, deflection: float) -> float:
        """Area under the curve from its start to a deflection, kN·mm, by trapezoids."""
        last = int(np.searchsorted(self.deflection, deflection, side="right"))
        x, y = self.deflection[:last], self.load[:last]
        area = float(np.sum(0.5 * (y[1:] + y[:-1]) * np.diff(x)))
        if 0 < last < len(self.deflection):
            rest = deflection - float(x[-1])
            area += 0.5 * (float(y[-1]) + self.load_at(deflection)) * rest
        return area

    def rising_to(self, load: float) -> float | None:
        """Deflection at which the rising branch first reaches a load, mm.

        On a dense noisy record, from the line through the samples within 1 % of the peak and
        three times the noise of that load; else linear between the two samples.
        """
        rising = self.load[: self.peak_at + 1]
        reached = np.flatnonzero(rising >= load)
        if not len(reached):
            return None
        k = int(reached[0])
        if k == 0:
            return float(self.deflection[0])
        width = 3.0 * self.sigma + _LOCAL_SHARE * self.peak_load
        start = int(np.flatnonzero(rising >= load - width)[0])
        above = np.flatnonzero(rising >= load + width)
        stop = int(above[0]) if len(above) else len(rising)
        if self.sigma > 0.0 and stop - start >= _LOCAL_FEWEST:
            fitted = self._line_reaches(start, stop, load)
            if fitted is not None:
                return fitted
        x, y = self.deflection[k - 1 : k + 1], self.load[k - 1 : k + 1]
        return float(x[0] + (load - y[0]) / (y[1] - y[0]) * (x[1] - x[0]))

    def _line_reaches(self, start: int, stop: int, load: float) -> float | None:
        x, y = self.deflection[start:stop], self.load[start:stop]
        dx, dy = x - x.mean(), y - y.mean()
        sxx, sxy = float(dx @ dx), float(dx @ dy)
        if sxx <= 0.0 or sxy <= 0.0:
            return None
        there = float(x.mean()) + (load - float(y.mean())) * sxx / sxy
        return there if x[0] <= there <= x[-1] else None

    def equal_energy(self, elastic_share: float, until: float) -> tuple[float, float] | None:
        """Corner of the elastic–perfectly plastic curve of equal energy (form of ASTM E2126).

        Args:
            elastic_share: share of the peak whose secant gives the elastic stiffness.
            until: deflection up to which the energies are equal, mm.

        Returns:
            Deflection, mm, and load of the plateau, kN; None where no such curve exists.
        """
        level = elastic_share * self.peak_load
        there = self.rising_to(level)
        if there is None or there <= 0.0:
            return None
        stiffness = level / there
        under_root = until**2 - 2.0 * self.energy_to(until) / stiffness
        if under_root < 0.0:
            return None
        deflection = until - math.sqrt(under_root)
        return (deflection, stiffness * deflection) if deflection > 0.0 else None

    def falls_to(self, load: float) -> float | None:
        """Deflection after the peak at which the load has fallen to a value and stays, mm."""
        after = self.load[self.peak_at :]
        below = after <= load
        for k in np.flatnonzero(below[1:]) + 1:
            if below[k : k + _STAY].all():
                at = self.peak_at + int(k)
                x, y = self.deflection[at - 1 : at + 1], self.load[at - 1 : at + 1]
                return float(x[0] + (y[0] - load) / (y[0] - y[1]) * (x[1] - x[0]))
        return None

    def largest_fall(self) -> float:
        """Largest fall of load after the peak, kN."""
        return self.peak_load - float(self.load[self.peak_at :].min())


def envelope_kernel(  # noqa: PLR0917 - compiled
    load: Floats,
    deflection: Floats,
    stiffness: float,
    recovery: float,
    drop: float,
    out_keep: Ints,
    out_deflection: Floats,
) -> int:
    """Picks the samples of the envelope.

    A sample belongs to it where the deflection exceeds all before, or where the load fell by more
    than ``drop`` with less than ``recovery`` of the elastic recovery (a loss of load, drawn
    straight down).

    Args:
        load, deflection: kN and mm, shape (n,).
        stiffness: of elastic recovery, kN/mm.
        recovery: share of it that makes an unloading.
        drop: kN.
        out_keep, out_deflection: receive positions and deflections; room for n.

    Returns:
        How many samples belong to it.
    """
    kept = 0
    top = deflection[0]
    top_load = load[0]
    out_keep[0] = 0
    out_deflection[0] = top
    kept = 1
    for k in range(1, len(load)):
        if deflection[k] > top:
            top = deflection[k]
        else:
            fall = top_load - load[k]
            if fall <= drop or (top - deflection[k]) * stiffness >= recovery * fall:
                continue
        top_load = load[k]
        out_keep[kept] = k
        out_deflection[kept] = top
        kept += 1
    return kept
