"""The raw file of one block of load cycles, as a triggered logger writes it.

A block is a run of consecutive cycles that begins and ends in a valley. Load is a sine between
the minimum and the maximum of the run (slightly off target); deflection follows with a small lag,
which is the loop, on the stiffness and with the residual deflection of its cycle.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from results.domain.invented.equipment import CYCLIC, ChannelSpec, RigSpec, sensor_by_serial
from results.domain.invented.logger_text import LoggerColumn, table_bytes
from results.domain.invented.parameters import PARAMETERS, Parameters
from results.domain.invented.truth import BeamTruth

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CyclicBlock:
    """Consecutive load cycles in one file.

    Attributes:
        cycle_offset: load cycles that the specimen had before.
        cycles: how many complete ones are in the block.
    """

    cycle_offset: int
    cycles: int

    @property
    def last(self) -> int:
        """Number of the last cycle in it."""
        return self.cycle_offset + self.cycles


@dataclass(frozen=True)
class CyclicFile:
    """All that a cyclic file is made from; the same gives the same bytes."""

    specimen: str
    rig: RigSpec
    measured_at: datetime
    truth: BeamTruth
    block: CyclicBlock
    seed: int
    parameters: Parameters = PARAMETERS

    def content(self) -> bytes:
        """The file."""
        rng = np.random.default_rng(self.seed)
        time, load, deflection = block_signals(self.truth, self.block, self.parameters)
        law = self.parameters.signal
        noisy = {
            "time": time,
            "load": load + law.load_kn * rng.standard_normal(len(load)),
            "deflection": deflection + law.deflection_mm * rng.standard_normal(len(load)),
        }
        columns = [
            LoggerColumn(c.column, c.unit, c.decimals, self._written(c, noisy[c.quantity]))
            for c in self.rig.channels(CYCLIC, has_fabric=True)
        ]
        preamble = (
            ("Specimen", self.specimen),
            ("Test", "load cycles"),
            ("Rig", self.rig.code),
            ("Block", f"after {self.block.cycle_offset} load cycles"),
            ("Started", f"{self.measured_at:%Y-%m-%d %H:%M} UTC"),
            ("Made from", f"stated parameters; seed {self.seed}"),
        )
        return table_bytes(self.rig.style, preamble, columns)

    def _written(self, channel: ChannelSpec, values: Floats) -> Floats:
        factor = 1.0
        if channel.sensor is not None:
            factor = sensor_by_serial(channel.sensor).factor_at(self.measured_at)
        return values * (channel.sign * channel.per_base / factor)


def block_signals(
    truth: BeamTruth, block: CyclicBlock, parameters: Parameters = PARAMETERS
) -> tuple[Floats, Floats, Floats]:
    """Time (s), load (kN) and deflection (mm) of a block, without noise, shapes (n,).

    The secant stiffness between the load extremes of cycle N is that of the first cycle times the
    stated ratio of N.
    """
    law = parameters.cycling
    count = round((block.cycles + 2.0 * law.edge_share) * law.samples_per_cycle) + 1
    phase = np.arange(count) / law.samples_per_cycle - law.edge_share
    number = block.cycle_offset + 1.0 + np.clip(np.floor(phase), 0.0, block.cycles - 1.0)
    half = 0.5 * (law.maximum_kn - law.minimum_kn) * (1.0 + law.load_error)
    middle = 0.5 * (law.maximum_kn + law.minimum_kn)
    turn = 2.0 * np.pi * phase
    load = middle - half * np.cos(turn)
    stiffness = truth.first_cycle_kn_mm * truth.stiffness_ratio(number, parameters)
    swing = half / (stiffness * np.cos(law.lag_rad))
    deflection = truth.residual_mm(number, parameters) + swing * (
        np.cos(law.lag_rad) - np.cos(turn - law.lag_rad)
    )
    time = (phase + law.edge_share) / law.frequency_hz
    return time, load, deflection
