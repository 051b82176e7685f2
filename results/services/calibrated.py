"""Channels with the calibration of their sensors."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from labmatrix.evidence.domain.channels import Channel, Channels


def calibrated(channels: Channels, factors: Mapping[str, float]) -> Channels:
    """Each channel multiplied by the factor of its sensor; 1 where none is known."""

    def corrected(channel: Channel) -> Channel:
        factor = factors.get(channel.sensor or "", 1.0)
        if factor == 1.0:
            return channel
        return replace(channel, values=channel.values * factor)

    return Channels(tuple(corrected(channel) for channel in channels.channels))


def factors_of(calibrations: Sequence[Mapping[str, Any]]) -> dict[str, float]:
    """Factor by which the values of each calibrated sensor are multiplied."""
    return {c["sensor"]: float(c["factor"]) for c in calibrations if "factor" in c}
