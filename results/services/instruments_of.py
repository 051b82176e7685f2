"""What is known of the sensors behind load and deflection of a record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from labmatrix.evidence.domain.channels import Channel
from labmatrix.kernel.units import conversion
from results.domain.reduction.instruments import Instrument
from results.domain.reduction.outcome import Note

NO_CALIBRATION = (
    "No calibration tells how well {words} is known ({source}); the uncertainty of the numbers "
    "holds scatter and resolution alone."
)
NO_RESOLUTION = (
    "The file does not fix with how many decimals {words} is written ({source}), so no resolution "
    "of its own goes into the uncertainty; where the samples move in steps, the noise holds it."
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


def instrument_notes(
    load: Instrument, second: Instrument | None, *, second_words: str = "the deflection"
) -> list[Note]:
    """Says what the uncertainty of the numbers leaves out.

    Args:
        load: of the first channel.
        second: of the second one, None where the reduction has none.
        second_words: what it measures.
    """
    told_of = [("the load", load), *([(second_words, second)] if second else [])]
    return [
        *(
            Note("uncertainty.no-calibration", NO_CALIBRATION.format(words=w, source=told.source))
            for w, told in told_of
            if told.scale_u == 0.0 and told.zero_u == 0.0
        ),
        *(
            Note("uncertainty.no-resolution", NO_RESOLUTION.format(words=w, source=told.source))
            for w, told in told_of
            if told.resolution == 0.0
        ),
    ]
