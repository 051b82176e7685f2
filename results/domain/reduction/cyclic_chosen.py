"""What the cyclic reduction chooses from the first samples of a record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from results.domain.reduction.cyclic_settings import CyclicSettings
from results.domain.reduction.dropouts import Jump, jump_of
from results.domain.reduction.noise import Noise, noise_of
from results.domain.reduction.sample_buffer import Part


@dataclass(frozen=True)
class Chosen:
    """Noise, band, jumps and sampling interval of a record.

    Attributes:
        load, deflection: their noise, kN and mm.
        load_jump, deflection_jump: what a jump of them is, kN and mm.
        band: moves of the bounding channel up to this size are noise, kN or mm.
        interval_s: median step of time, s; None without time.
    """

    load: Noise
    deflection: Noise
    load_jump: Jump
    deflection_jump: Jump
    band: float
    interval_s: float | None

    def sigma(self, channel: str) -> float:
        """Standard deviation of the noise of a channel, in its unit."""
        return self.load.sigma if channel == "load" else self.deflection.sigma

    def resolved(self) -> dict[str, Any]:
        """As it goes into the settings of the outcome."""
        return {
            "noise_band": self.band,
            "noise_load_kn": self.load.sigma,
            "noise_deflection_mm": self.deflection.sigma,
            "resolution_load_kn": self.load.resolution,
            "resolution_deflection_mm": self.deflection.resolution,
            "spread_load_kn": self.load.spread,
            "spread_deflection_mm": self.deflection.spread,
            "jump_load_kn": self.load_jump.size,
            "jump_deflection_mm": self.deflection_jump.size,
            "interval_s": self.interval_s,
        }

    def as_dict(self) -> dict[str, Any]:
        """JSON-ready; ``from_dict`` reads it."""
        return asdict(self)

    @classmethod
    def from_dict(cls, state: Mapping[str, Any]) -> Chosen:
        """From ``as_dict``."""
        return cls(
            load=Noise(**state["load"]),
            deflection=Noise(**state["deflection"]),
            load_jump=Jump(**state["load_jump"]),
            deflection_jump=Jump(**state["deflection_jump"]),
            band=float(state["band"]),
            interval_s=state["interval_s"],
        )


def choose(head: Part, settings: CyclicSettings) -> Chosen:
    """Chooses from the first samples of a record.

    Args:
        head: finite channels ``load``, ``deflection`` and, with time, ``time``, shape (n,).
        settings: what is given there is not chosen.
    """
    load, deflection = noise_of(head["load"]), noise_of(head["deflection"])
    bounding = load if settings.cycles_by == "load" else deflection
    interval: float | None = None
    if "time" in head:
        steps = np.diff(head["time"])
        ahead = steps[steps > 0.0]
        interval = float(np.median(ahead)) if len(ahead) else None
    return Chosen(
        load=load,
        deflection=deflection,
        load_jump=jump_of(head["load"], load),
        deflection_jump=jump_of(head["deflection"], deflection),
        band=bounding.band if settings.noise_band is None else settings.noise_band,
        interval_s=interval,
    )
