"""What each kind of event does to a specimen's life."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from types import MappingProxyType

from labmatrix.kernel.units import to_base
from specimens.domain.event import EventFact
from specimens.domain.life import (
    BreakSeen,
    CyclingRun,
    LayerPlaced,
    Life,
    StayInMachine,
    SustainedLoad,
)


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
    life.bars = event.payload.get("bars") or ""


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
    if lot := event.payload.get("lot"):
        life.anchor_lots.append(lot)


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
    # Taken out of the frame in which it was loaded, a specimen is no longer under load.
    if life.sustained is not None and life.sustained.machine == event.payload["machine"]:
        _unload(life, event.occurred_at)


def _loaded(life: Life, event: EventFact) -> None:
    _unload(life, event.occurred_at)
    load = event.payload["load"]
    frames = [stay.machine for stay in life.open_stays if not stay.run]
    life.sustained = SustainedLoad(
        to_base(load["value"], load["unit"]),
        event.payload["reference"],
        event.occurred_at,
        machine=frames[-1] if frames else "",
    )
    life.sustained_ever = True


def _re_tensioned(life: Life, event: EventFact) -> None:
    if life.sustained is not None:
        load = event.payload["to"]
        load_kn = to_base(load["value"], load["unit"])
        if load_kn > 0.0:
            life.sustained.load_kn = load_kn
        else:  # de-tensioned: the load is off, and what it was stays known
            _unload(life, event.occurred_at)


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
    life.layers, life.anchors, life.anchor_lots = [], [], []
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
