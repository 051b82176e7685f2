"""What a specimen has been through: the state that its events build up."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Any


@dataclass
class StayInMachine:
    """A stay in a machine's position, for a run of it."""

    machine: str
    position: str
    run: str
    since: datetime
    until: datetime | None = None
    event: str = ""


@dataclass
class SustainedLoad:
    """A load held, in kN, and what it is a share of."""

    load_kn: float
    reference: str
    since: datetime
    until: datetime | None = None
    machine: str = ""


@dataclass
class CyclingRun:
    """A run of load cycles between two loads, in kN and Hz."""

    machine: str
    minimum_kn: float
    maximum_kn: float
    frequency_hz: float
    since: datetime
    until: datetime | None = None
    cycles: int = 0
    reason: str = ""


@dataclass
class LayerPlaced:
    """A layer of the strengthening system."""

    kind: str
    ply: int | None
    lot: str
    at: datetime


@dataclass
class BreakSeen:
    """The end of a test."""

    location: str
    end: str
    scheme: str
    letter: str
    words: str
    at: datetime
    event: str


@dataclass
class Life:
    """Everything that the events of one specimen add up to."""

    origin_how: str = ""
    origin_is_logged: bool = False
    origin_at: datetime | None = None
    origin_date: str | None = None
    cast_at: datetime | None = None
    batch: str = ""
    bars: str = ""
    demoulded_at: datetime | None = None
    whereabouts: str = ""
    pre_cracked_at: datetime | None = None
    pre_cracked_moment_knm: float | None = None
    pre_cracked_load_kn: float | None = None
    prepared_at: datetime | None = None
    layers: list[LayerPlaced] = field(default_factory=list)
    anchors: list[str] = field(default_factory=list)
    anchor_lots: list[str] = field(default_factory=list)
    strengthening_began_at: datetime | None = None
    mortar_at: datetime | None = None
    held: dict[str, datetime] = field(default_factory=dict)
    stays: list[StayInMachine] = field(default_factory=list)
    sustained: SustainedLoad | None = None
    sustained_ever: bool = False
    sustained_before: list[SustainedLoad] = field(default_factory=list)
    runs: list[CyclingRun] = field(default_factory=list)
    breaks: list[BreakSeen] = field(default_factory=list)
    opened_up: dict[str, Any] | None = None
    repaired_at: list[datetime] = field(default_factory=list)
    lost_at: datetime | None = None
    ended_at: datetime | None = None
    end: str = ""
    last_at: datetime | None = None

    @property
    def exists(self) -> bool:
        """Came into being."""
        return bool(self.origin_how) or self.cast_at is not None

    @property
    def cycles(self) -> int:
        """Load cycles seen, over all runs."""
        return sum(run.cycles for run in self.runs)

    @property
    def plies(self) -> int:
        """Fabric plies of the present strengthening."""
        return len({layer.ply for layer in self.layers if layer.kind == "fabric"})

    @property
    def open_stays(self) -> list[StayInMachine]:
        """Machines it is in now."""
        return [stay for stay in self.stays if stay.until is None]

    @property
    def open_run(self) -> CyclingRun | None:
        """The cycling run that goes on."""
        return self.runs[-1] if self.runs and self.runs[-1].until is None else None

    @property
    def broken_locations(self) -> set[str]:
        """Locations whose test has ended, since the last repair."""
        since = self.repaired_at[-1] if self.repaired_at else None
        return {b.location for b in self.breaks if since is None or b.at > since}
