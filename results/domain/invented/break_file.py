"""The raw file of a break test: what a logger would have written while a beam was broken.

The beam is driven by deflection: rest, a preload and back, up to service load, down and up again,
then to the end. What a channel reads is the truth plus bedding, settlement, an offset from before
the test, drift and noise, divided by the calibration factor of its sensor.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from results.domain.invented.equipment import BREAK, ChannelSpec, RigSpec, sensor_by_serial
from results.domain.invented.logger_text import LoggerColumn, table_bytes
from results.domain.invented.parameters import PARAMETERS, Parameters
from results.domain.invented.truth import BeamTruth

Floats = npt.NDArray[np.float64]
_HOUR_S = 3600.0
# Corner of the driven path where the unloading begins.
_TURN = 6


@dataclass(frozen=True)
class DrivenPath:
    """The true state of the beam at each sample, shapes (n,).

    Attributes:
        time_s: from the start of the record.
        deflection_mm: of the beam alone.
        load_kn: of the actuator.
        bar_strain, fabric_strain: mm/mm.
    """

    time_s: Floats
    deflection_mm: Floats
    load_kn: Floats
    bar_strain: Floats
    fabric_strain: Floats


@dataclass(frozen=True)
class BreakFile:
    """All that a break file is made from; the same gives the same bytes."""

    specimen: str
    rig: RigSpec
    measured_at: datetime
    truth: BeamTruth
    seed: int
    parameters: Parameters = PARAMETERS

    @property
    def has_fabric(self) -> bool:
        """Whether there is fabric to measure on."""
        return self.truth.plies > 0

    def content(self) -> bytes:
        """The file."""
        rng = np.random.default_rng(self.seed)
        path = driven_path(self.truth, self.rig.sample_hz, self.parameters)
        readings = _Readings(path, rng, self.parameters)
        columns = [
            LoggerColumn(c.column, c.unit, c.decimals, self._written(c, readings.of(c)))
            for c in self.rig.channels(BREAK, has_fabric=self.has_fabric)
        ]
        preamble = (
            ("Specimen", self.specimen),
            ("Test", "four-point bending to failure"),
            ("Rig", self.rig.code),
            ("Started", f"{self.measured_at:%Y-%m-%d %H:%M} UTC"),
            ("Made from", f"stated parameters; seed {self.seed}"),
        )
        return table_bytes(self.rig.style, preamble, columns)

    def _written(self, channel: ChannelSpec, values: Floats) -> Floats:
        factor = 1.0
        if channel.sensor is not None:
            factor = sensor_by_serial(channel.sensor).factor_at(self.measured_at)
        return values * (channel.sign * channel.per_base / factor)


def driven_path(
    truth: BeamTruth, sample_hz: float, parameters: Parameters = PARAMETERS
) -> DrivenPath:
    """What the beam goes through, sampled.

    Args:
        truth: its curve.
        sample_hz: samples a second.
        parameters: how the test is driven.
    """
    law = parameters.procedure
    turn = truth.deflection_at(law.unload_share * truth.yield_load_kn)
    service = float(truth.load_at(turn))
    stiffness = law.unload_stiffening * service / turn
    low = turn - (service - law.unload_to_kn) / stiffness
    times, deflections = _driven(truth, turn, low, parameters)
    time = np.arange(0.0, times[-1], 1.0 / sample_hz)
    deflection = np.interp(time, times, deflections)
    load = truth.load_at(deflection)
    loop = (time > times[_TURN]) & (time < times[_TURN + 2])
    bow = law.hysteresis_kn * np.sin(np.pi * (deflection[loop] - low) / (turn - low))
    reloading = time[loop] > times[_TURN + 1]
    load[loop] = service - stiffness * (turn - deflection[loop]) - bow * reloading
    # Between the cracks the concrete holds part of the strain when the load goes back.
    left = 0.15 + 0.85 * load[loop] / service
    bar, fabric = truth.bar_strain_at(deflection), truth.fabric_strain_at(deflection)
    bar[loop] = float(truth.bar_strain_at(turn)) * left
    fabric[loop] = float(truth.fabric_strain_at(turn)) * left
    return DrivenPath(time, deflection, load, bar, fabric)


def _driven(
    truth: BeamTruth, turn: float, low: float, parameters: Parameters
) -> tuple[Floats, Floats]:
    """Times and deflections of the corners of the path; corner ``_TURN`` begins the unloading."""
    law = parameters.procedure
    seat, preload = (truth.deflection_at(load) for load in (law.seated_kn, law.preload_kn))
    fast = law.fast_from * truth.yield_deflection_mm
    return _timed(
        [
            (0.0, law.rest_s),
            (preload, preload / law.slow_mm_s),
            (preload, law.preload_hold_s),
            (seat, preload / law.slow_mm_s),
            (seat, law.preload_hold_s),
            (turn, turn / law.slow_mm_s),
            (low, (turn - low) / law.fast_mm_s),
            (turn, (turn - low) / law.fast_mm_s),
            (fast, (fast - turn) / law.slow_mm_s),
            (truth.end_mm, (truth.end_mm - fast) / law.fast_mm_s),
        ]
    )


def _timed(legs: list[tuple[float, float]]) -> tuple[Floats, Floats]:
    """Times and deflections of the corners of the path, from (deflection, seconds to it)."""
    ends, lasts = (np.array(values) for values in zip(*legs, strict=True))
    return np.concatenate([[0.0], np.cumsum(lasts)]), np.concatenate([[0.0], ends])


class _Readings:
    """What each kind of channel reads, in base units before calibration."""

    def __init__(self, path: DrivenPath, rng: np.random.Generator, parameters: Parameters) -> None:
        self.path, self.rng, self.law = path, rng, parameters.signal
        self.hours = path.time_s / _HOUR_S

    def of(self, channel: ChannelSpec) -> Floats:
        """Readings of a channel; drawn in the order of the columns."""
        path, law = self.path, self.law
        match channel.quantity:
            case "time":
                return path.time_s
            case "load":
                noise = (law.load_kn, law.load_drift_kn_h, law.load_zero_kn)
                return self._measured(path.load_kn, *noise)
            case "deflection":
                moved = path.deflection_mm + self._toe() + 0.5 * sum(map(self._settled, (0, 1)))
                noise = (law.deflection_mm, law.deflection_drift_mm_h, law.deflection_zero_mm)
                return self._measured(moved, *noise)
            case "settlement":
                side = 0 if channel.place == "left support" else 1
                return self._measured(self._settled(side), law.settlement_mm, 0.0, 0.02)
            case _:
                return self._strain(channel)

    def _measured(self, true: Floats, sigma: float, drift: float, zero: float) -> Floats:
        offset = zero * self.rng.uniform(0.2, 1.0)
        drifted = drift * self.rng.uniform(-1.0, 1.0) * self.hours
        return true + offset + drifted + sigma * self.rng.standard_normal(len(true))

    def _strain(self, channel: ChannelSpec) -> Floats:
        law = self.law
        is_bar = channel.place == "bar"
        true = self.path.bar_strain if is_bar else self.path.fabric_strain
        # Gauges are balanced on the beam at rest; what is left is small.
        read = self._measured(true, law.strain, law.strain_drift_h, 0.05 * law.strain_zero)
        is_lost = self.rng.uniform() < law.gauge_lost_share
        if is_bar and is_lost:
            after = np.flatnonzero(true > law.gauge_lost_at)
            read[int(after[0]) if len(after) else len(read) :] = np.nan
        return read

    def _toe(self) -> Floats:
        return self.law.toe_mm * (1.0 - np.exp(-self.path.load_kn / self.law.toe_kn))

    def _settled(self, side: int) -> Floats:
        law, load = self.law, np.maximum(self.path.load_kn, 0.0)
        bedding = law.settling_mm * (1.0 + 0.3 * side) * (1.0 - np.exp(-load / law.settling_kn))
        settled: Floats = bedding + 0.5 * load / law.support_kn_mm
        return settled


@dataclass(frozen=True)
class BrokenFile:
    """An export that went wrong: the logger's web page stored under the name of the record."""

    specimen: str
    measured_at: datetime

    def content(self) -> bytes:
        """The file."""
        return broken_file(specimen=self.specimen, measured_at=self.measured_at)


def broken_file(*, specimen: str, measured_at: datetime) -> bytes:
    """A page of the logger's server in the place of an export; no reader may take it for a table.

    Args:
        specimen: code of the beam whose record should have been in it.
        measured_at: when the test was.
    """
    page = f"""<!DOCTYPE html>
<html><head><title>Export failed</title></head>
<body>
<p>INVENTED DATA — Quayside Structures Laboratory demo</p>
<h1>503 Service unavailable</h1>
<p>The session of {specimen} of {measured_at:%Y-%m-%d %H:%M} UTC was closed before its export
was ready. Sign in and export it again.</p>
</body></html>
"""
    return page.replace("\n", "\r\n").encode("utf-8")
