"""What a specimen has been through: the state that events build up, and their effects."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any

from labmatrix.kernel.units import to_base
from specimens.domain.event import EventFact


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
    demoulded_at: datetime | None = None
    whereabouts: str = ""
    pre_cracked_at: datetime | None = None
    pre_cracked_moment_knm: float | None = None
    pre_cracked_load_kn: float | None = None
    prepared_at: datetime | None = None
    layers: list[LayerPlaced] = field(default_factory=list)
    anchors: list[str] = field(default_factory=list)
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


def _origin(life: Life, event: EventFact) -> None:
    life.origin_is_logged = True
    life.origin_how = event.payload["how"]
    life.origin_at = life.origin_at or event.occurred_at
    life.origin_date = event.payload.get("date")


def _cast(life: Life, event: EventFact) -> None:
    life.origin_how = life.origin_how or "cast"
    life.origin_at = life.origin_at or event.occurred_at
    life.cast_at = event.occurred_at
    life.batch = event.payload["batch"]


def _demoulded(life: Life, event: EventFact) -> None:
    life.demoulded_at = event.occurred_at


def _moved(life: Life, event: EventFact) -> None:
    life.whereabouts = event.payload["to"]


def _pre_cracked(life: Life, event: EventFact) -> None:
    life.pre_cracked_at = event.occurred_at
    moment, load = event.payload.get("moment"), event.payload.get("load")
    life.pre_cracked_moment_knm = to_base(moment["value"], moment["unit"]) if moment else None
    life.pre_cracked_load_kn = to_base(load["value"], load["unit"]) if load else None


def _prepared(life: Life, event: EventFact) -> None:
    life.prepared_at = event.occurred_at


def _layer(life: Life, event: EventFact) -> None:
    payload = event.payload
    life.layers.append(
        LayerPlaced(payload["kind"], payload.get("ply"), payload["lot"], event.occurred_at)
    )
    life.strengthening_began_at = life.strengthening_began_at or event.occurred_at
    if payload["kind"] != "fabric":
        life.mortar_at = event.occurred_at


def _anchored(life: Life, event: EventFact) -> None:
    life.anchors.append(f"{event.payload['type']} at {event.payload['position']}")


def _held(life: Life, event: EventFact) -> None:
    life.held[event.payload["point"]] = event.occurred_at


def _released(life: Life, event: EventFact) -> None:
    del life.held[event.payload["point"]]


def _entered(life: Life, event: EventFact) -> None:
    payload = event.payload
    life.stays.append(
        StayInMachine(
            payload["machine"],
            payload.get("position", ""),
            payload.get("run", ""),
            event.occurred_at,
            event=event.id,
        )
    )


def _left(life: Life, event: EventFact) -> None:
    for stay in life.open_stays:
        if stay.machine == event.payload["machine"]:
            stay.until = max(event.occurred_at, stay.since)


def _loaded(life: Life, event: EventFact) -> None:
    _unload(life, event.occurred_at)
    load = event.payload["load"]
    life.sustained = SustainedLoad(
        to_base(load["value"], load["unit"]), event.payload["reference"], event.occurred_at
    )
    life.sustained_ever = True


def _re_tensioned(life: Life, event: EventFact) -> None:
    if life.sustained is not None:
        load = event.payload["to"]
        life.sustained.load_kn = to_base(load["value"], load["unit"])


def _cycling_started(life: Life, event: EventFact) -> None:
    def base(name: str) -> float:
        quantity = event.payload[name]
        return to_base(quantity["value"], quantity["unit"])

    life.runs.append(
        CyclingRun(
            event.payload["machine"],
            base("minimum"),
            base("maximum"),
            base("frequency"),
            event.occurred_at,
        )
    )


def _counted(life: Life, event: EventFact) -> None:
    life.runs[-1].cycles = event.payload["cycles"]


def _cycling_stopped(life: Life, event: EventFact) -> None:
    run = life.runs[-1]
    run.until, run.reason = max(event.occurred_at, run.since), event.payload["reason"]


def _unload(life: Life, at: datetime) -> None:
    if life.sustained is not None:
        life.sustained.until = max(at, life.sustained.since)
        life.sustained_before.append(life.sustained)
        life.sustained = None


def _close_everything(life: Life, at: datetime) -> None:
    if (run := life.open_run) is not None:
        run.until = max(at, run.since)
    _unload(life, at)


def _broken(life: Life, event: EventFact) -> None:
    payload, mode = event.payload, event.payload["mode"]
    location = payload.get("location", "")
    life.breaks.append(
        BreakSeen(
            location,
            payload["end"],
            mode["scheme"],
            mode["letter"],
            mode["words"],
            event.occurred_at,
            event.id,
        )
    )
    if not location:
        life.end, life.ended_at = payload["end"], event.occurred_at
        _close_everything(life, event.occurred_at)


def _opened_up(life: Life, event: EventFact) -> None:
    life.opened_up = dict(event.payload)


def _repaired(life: Life, event: EventFact) -> None:
    life.repaired_at.append(event.occurred_at)
    life.layers, life.anchors = [], []
    life.strengthening_began_at = life.mortar_at = life.prepared_at = None
    life.end, life.ended_at = "", None


def _lost(life: Life, event: EventFact) -> None:
    life.lost_at = life.ended_at = event.occurred_at
    life.end = "lost"
    _close_everything(life, event.occurred_at)


def _nothing(life: Life, event: EventFact) -> None:
    """Words, pictures and readings change no state."""


EFFECTS: Mapping[str, Callable[[Life, EventFact], None]] = MappingProxyType(
    {
        "origin": _origin,
        "cast": _cast,
        "demoulded": _demoulded,
        "moved": _moved,
        "pre-cracked": _pre_cracked,
        "prepared": _prepared,
        "layer": _layer,
        "anchored": _anchored,
        "held": _held,
        "released": _released,
        "cured": _nothing,
        "entered": _entered,
        "left": _left,
        "loaded": _loaded,
        "read": _nothing,
        "re-tensioned": _re_tensioned,
        "cycling-started": _cycling_started,
        "counted": _counted,
        "cycling-stopped": _cycling_stopped,
        "broken": _broken,
        "opened-up": _opened_up,
        "repaired": _repaired,
        "lost": _lost,
        "photo": _nothing,
        "note": _nothing,
        "incident": _nothing,
        "checklist": _nothing,
        "corrected": _nothing,
        "judged": _nothing,
    }
)
