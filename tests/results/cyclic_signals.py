"""Cyclic records with known stiffness, phase and loss, for tests."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Record:
    """Channels of a record, and the true stiffness of each of its cycles."""

    load: Floats
    deflection: Floats
    time: Floats
    stiffness: Floats


def fatigue_record(
    *,
    cycles: int,
    samples: int = 200,
    mean_kn: float = 24.0,
    amplitude_kn: float = 16.0,
    stiffness: float = 6.4,
    loss: float = 0.25,
    phase: float = 0.03,
    noise_kn: float = 0.0,
    noise_mm: float = 0.0,
    drift_mm: float = 0.0,
    hertz: float = 2.0,
    start: float = 0.0,
    stop: float = 0.0,
    seed: int = 1,
) -> Record:
    """Constant load amplitude from valley to valley; stiffness falls linearly by ``loss``.

    Args:
        phase: lag of deflection behind load, rad.
        start, stop: cycles cut off at the start, added at the end.
    """
    rng = np.random.default_rng(seed)
    turns = np.arange(round(start * samples), round((cycles + stop) * samples) + 1) / samples
    theta = 2.0 * np.pi * turns
    k = stiffness * (1.0 - loss * np.clip(turns / cycles, 0.0, 1.0))
    load = mean_kn - amplitude_kn * np.cos(theta)
    deflection = (mean_kn - amplitude_kn * np.cos(theta - phase)) / k + drift_mm * turns / cycles
    middle = (np.arange(cycles) + 0.25) / cycles
    return Record(
        load=load + rng.normal(0.0, noise_kn, len(load)) if noise_kn else load,
        deflection=deflection + rng.normal(0.0, noise_mm, len(load)) if noise_mm else deflection,
        time=turns / hertz,
        stiffness=stiffness * (1.0 - loss * middle),
    )
