"""Reduction of a cyclic test: every load cycle measured, metrics at checkpoints.

A cycle runs valley–peak–valley; the trailing valley closes the last one. Cycles are numbered from
the first complete one after ``cycle_offset``.
"""

from __future__ import annotations

from typing import Final

import numpy.typing as npt

from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.cyclic_stream import CyclicStream
from results.domain.reduction.outcome import Outcome

REDUCTION: Final = "cyclic"
VERSION: Final = "4"

__all__ = ["REDUCTION", "VERSION", "CyclicSettings", "reduce_cyclic"]


def reduce_cyclic(
    *,
    load_kn: npt.ArrayLike,
    deflection_mm: npt.ArrayLike,
    time_s: npt.ArrayLike | None = None,
    cycle_offset: int = 0,
    settings: CyclicSettings | None = None,
) -> Outcome:
    """Measures every complete load cycle of one record.

    The record goes through one ``CyclicStream``, so that a record read in chunks gives the same.

    Args:
        load_kn: TOTAL load of the actuator, kN, shape (n,); samples that are not numbers are
            left out with a note.
        deflection_mm: deflection, mm, shape (n,).
        time_s: time, s, shape (n,); without it no frequency is reported.
        cycle_offset: load cycles that the specimen had before this record.
        settings: defaults where not given.

    Returns:
        Metrics at the checkpoints, notes, marks, resolved settings, and the table of all complete
        cycles (columns of ``cycles.COLUMNS``).

    Raises:
        ShapeError: channels of different lengths.
        RangeError: ``cycle_offset`` below 0.
    """
    stream = CyclicStream(settings or CyclicSettings(), cycle_offset=cycle_offset)
    stream.feed(load_kn, deflection_mm, time_s)
    stream.close()
    return stream.outcome(stream.finished_cycles())
