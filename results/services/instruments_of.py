"""What is known of the sensors behind load and deflection of a record."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from labmatrix.evidence.domain.channels import Channel
from labmatrix.kernel.units import conversion
from results.domain.reduction.instruments import Instrument
from results.domain.reduction.outcome import Note
from results.domain.reduction.uncertainty import Budget

NO_CALIBRATION = (
    "No calibration tells how well {words} is known ({source}); the uncertainty of the numbers "
    "holds scatter and resolution alone."
)


def instrument_of(
    channel: Channel, calibrations: Sequence[Mapping[str, Any]], step: float = 0.0
) -> Instrument:
    """The sensor of a channel, as its calibration in force knows it.

    Args:
        channel: load or deflection.
        calibrations: as they stand in the inputs of a reduction.
        step: smallest step that the file can write, in the base unit of the channel.
    """
    known = next((c for c in calibrations if c["sensor"] == channel.sensor and "factor" in c), None)
    column = f"column {channel.column.strip()}"
    if known is None:
        source = f"{channel.sensor}, not calibrated" if channel.sensor else f"{column}, no sensor"
        return Instrument(source, resolution=step)
    scale = channel.entry.scale
    certificate = known.get("certificate") or f"calibrated {str(known['calibrated_at'])[:10]}"
    factor, _ = conversion(known.get("unit") or channel.unit, channel.unit)
    return Instrument(
        f"{channel.sensor}, {certificate}",
        scale_u=float(known["u_relative"]),
        zero_u=float(known["u_absolute"]) * abs(factor) * scale,
        resolution=step,
    )


def calibration_notes(load: Instrument, deflection: Instrument) -> list[Note]:
    """Says whose uncertainty leaves out the calibration."""
    return [
        Note("uncertainty.no-calibration", NO_CALIBRATION.format(words=words, source=told.source))
        for words, told in (("the load", load), ("the deflection", deflection))
        if told.scale_u == 0.0 and told.zero_u == 0.0
    ]


def budget_as_dict(budget: Budget) -> dict[str, Any]:
    """A budget JSON-ready; degrees of freedom are None where they are infinite."""

    def finite(dof: float) -> float | None:
        return None if math.isinf(dof) else dof

    return {
        "u": budget.u,
        "dof": finite(budget.dof),
        "method": budget.method,
        "rows": [
            {
                "source": row.source,
                "value": row.value,
                "u": row.u,
                "sensitivity": row.sensitivity,
                "contribution": row.contribution,
                "dof": finite(row.dof),
            }
            for row in budget.rows
        ],
    }
