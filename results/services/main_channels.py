"""The channels of a record that count, and those that are drawn."""

from __future__ import annotations

from typing import Any

import numpy as np

from labmatrix.evidence.domain.channels import Channel, Channels


def main_channel(channels: Channels, quantity: str) -> Channel:
    """The channel of a quantity that counts: the one at mid-span where there are several.

    Raises:
        ShapeError: ``channels.quantity-missing`` or ``channels.ambiguous``.
    """
    central = [c for c in channels.all(quantity) if c.place in (None, "mid-span", "actuator")]
    if len(central) > 1 and all(c.place for c in central):
        central = [c for c in central if c.place == "mid-span"]
    return central[0] if len(central) == 1 else channels.one(quantity)


def drawn_channels(
    channels: Channels,
) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any], str, str]:
    """What a record's curve shows: (x, y, heading of x, heading of y), equal lengths.

    Load over deflection where both are in one file, else load over the mean strain, else the first
    channel over its rows.
    """
    loads, deflections = channels.all("load"), channels.all("deflection")
    strains = channels.all("strain")
    if len(loads) == 1 and strains and not deflections:
        of_file = [c.values for c in strains if c.file == loads[0].file]
        if of_file:
            return np.mean(of_file, axis=0), loads[0].values, "strain [mm/mm]", "load [kN]"
    if loads and deflections:
        y, x = main_channel(channels, "load"), main_channel(channels, "deflection")
        if y.file == x.file:
            return x.values, y.values, "deflection [mm]", "load [kN]"
    first = (
        next(c for c in channels.channels if c.quantity != "time")
        if len(channels.channels) > 1
        else channels.channels[0]
    )
    rows = np.arange(first.values.size, dtype=np.float64)
    return rows, first.values, "row", f"{first.quantity} [{first.unit}]"
