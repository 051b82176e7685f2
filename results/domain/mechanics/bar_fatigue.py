"""Fatigue of reinforcing bars: thresholds by edition, and S–N lines with their scatter."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from labmatrix.kernel.units import convert
from results.domain.mechanics.ranges import choice, number

ThresholdEdition = Literal["aashto-2014", "aashto-2007", "aci215r"]
THRESHOLD_EDITIONS: tuple[ThresholdEdition, ...] = ("aashto-2014", "aashto-2007", "aci215r")
THRESHOLD_SOURCES: Mapping[ThresholdEdition, str] = MappingProxyType(
    {
        "aashto-2014": "AASHTO LRFD 2014, 5.5.3.2: 26 − 22 fmin/fy ksi (recalled, not re-read)",
        "aashto-2007": "AASHTO LRFD 2007: 24 − 0.33 fmin ksi (published in NCHRP Report 679)",
        "aci215r": "ACI 215R-74: 23.4 − 0.33 fmin, at least 20 ksi (recalled, not re-read)",
    }
)
# Normal deviate of the 5 % and 95 % fractiles.
_FRACTILE = 1.6448536269514722


def _ksi(value: float) -> float:
    return convert(value, "ksi", "MPa")


def threshold_mpa(edition: ThresholdEdition, *, least_mpa: float, yield_mpa: float) -> float:
    """Stress range below which straight bars are taken to last, MPa.

    22·fmin/fy is a stress in ksi and is converted; 0.33·fmin has the unit of fmin and is not.

    Args:
        edition: whose rule.
        least_mpa: fmin, the least stress of the cycle, tension positive.
        yield_mpa: fy.

    Raises:
        RangeError: fmin outside −1000 to 1500 MPa, fy outside 100 to 1500 MPa.
        ShapeError: an edition that is not known.
    """
    choice("edition", edition, THRESHOLD_EDITIONS)
    number("least_mpa", least_mpa, low=-1000.0, high=1500.0, unit="MPa")
    number("yield_mpa", yield_mpa, low=100.0, high=1500.0, unit="MPa")
    if edition == "aashto-2014":
        return _ksi(26.0) - _ksi(22.0) * least_mpa / yield_mpa
    if edition == "aashto-2007":
        return _ksi(24.0) - 0.33 * least_mpa
    return max(_ksi(23.4) - 0.33 * least_mpa, _ksi(20.0))


@dataclass(frozen=True)
class SnLine:
    """A finite-life line of bars.

    Attributes:
        key: stable name.
        words: what it is.
        origin: where it came from.
        scatter: standard deviation of log10 N.
        fractile: −1.645 where the line is a 5 % line, 0 where it is the mean.
    """

    key: str
    words: str
    origin: str
    scatter: float
    fractile: float

    def log_life(self, range_mpa: float) -> float:
        """log10 N on the line itself."""
        if self.key == "helgason-hanson":
            return 6.969 - 0.0383 * range_mpa / _ksi(1.0)
        slope = 5.0 if range_mpa >= 162.5 else 9.0
        return 6.0 + slope * math.log10(162.5 / range_mpa)


SN_LINES: Mapping[str, SnLine] = MappingProxyType(
    {
        line.key: line
        for line in (
            SnLine(
                "helgason-hanson",
                "mean of tests on bars in beams, log N = 6.969 − 0.0383 fr (ksi)",
                "Helgason and others, NCHRP Report 164 (recalled, not re-read); scatter 0.20 of "
                "log N is common practice",
                0.20,
                0.0,
            ),
            SnLine(
                "en1992",
                "5 % line of straight bars, 162.5 MPa at 1e6, slopes 5 and 9",
                "EN 1992-1-1, Table 6.3N (recalled, not re-read); scatter 0.20 of log N is common "
                "practice",
                0.20,
                -_FRACTILE,
            ),
        )
    }
)


@dataclass(frozen=True)
class BarLife:
    """Cycles to the first bar fracture.

    Attributes:
        range_mpa: stress range.
        median: cycles, half of such bars would last longer.
        low, high: 5 % and 95 % of such bars have broken.
        line: which line.
    """

    range_mpa: float
    median: float
    low: float
    high: float
    line: SnLine

    def surviving(self, cycles: float) -> float:
        """Share of such bars that last a number of cycles, lognormal, between 0 and 1."""
        number("cycles", cycles, low=0.0, high=1e30, above=True)
        deviate = (math.log10(cycles) - math.log10(self.median)) / self.line.scatter
        return 0.5 * math.erfc(deviate / math.sqrt(2.0))


def bar_life(
    range_mpa: float, line: str = "helgason-hanson", *, scatter: float | None = None
) -> BarLife:
    """Median life and its 5 to 95 % band under a stress range, above any threshold.

    Args:
        range_mpa: largest less least bar stress, MPa.
        line: ``helgason-hanson`` or ``en1992``.
        scatter: standard deviation of log10 N where the laboratory has its own.

    Raises:
        RangeError: a range outside 20 to 800 MPa, where neither line holds; a scatter outside
            0.01 to 1.
        ShapeError: a line that is not known.
    """
    known = SN_LINES[choice("line", line, tuple(SN_LINES))]
    number("range_mpa", range_mpa, low=20.0, high=800.0, unit="MPa")
    if scatter is not None:
        number("scatter", scatter, low=0.01, high=1.0)
        known = SnLine(known.key, known.words, known.origin, scatter, known.fractile)
    median = known.log_life(range_mpa) - known.fractile * known.scatter
    band = _FRACTILE * known.scatter
    return BarLife(range_mpa, 10**median, 10 ** (median - band), 10 ** (median + band), known)
