"""What happened to each invented beam, from its casting to its end, as logged events."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from results.domain.invented.beams import BEAMS, TODAY, BeamMade, BeamSpec, Fate, seed_for
from results.domain.invented.diary import MANAGER, SECOND_TABLET, Diary, EventDraft, kn, mm
from results.domain.invented.materials import BAR_HEAT, FABRIC_LOT, MORTAR_LOT
from results.domain.invented.parameters import BAR_BREAKS, FROST, LABORATORY, PARAMETERS, Parameters
from results.domain.invented.programme import EXPOSURE_DAYS

_PREPARED_DAY, _STRENGTHENED_DAY, _EXPOSED_DAY, _LOST_DAY = 29, 30, 63, 75
_CHECKLIST = {
    "load and displacement trips entered and witnessed": True,
    "catch blocks in place": True,
    "exclusion zone closed": True,
    "who may approach at which hold load": "the technician, up to 10 kN",
}
# A beam cycled to failure in the salt series: load cycles when the bar broke.
FAILED_AFTER = 1_310_000
# Special happenings, by the code of the beam.
LOGGED_TWICE = "QS-P2-LAB-S0-M-02"
READ_WRONG = "QS-P0-SALT-S0-M-01"
WRONG_WIDTH_MM, RIGHT_WIDTH_MM = 3.0, 0.3
LOST_WHY = "A sling slipped while the beam was turned; it fell and cracked through at mid-span."
RUNS = {"QC-03": ("WD-01", "FT-01"), "QC-04": ("WD-02", ""), "QC-06": ("", "FT-02")}
FRAMES = {"QS-P0-SALT-S40-M-01": "FRAME-1", "QS-P2-SALT-S40-M-01": "FRAME-2"}


def history(
    made: BeamMade, *, seed: int, reference_kn: float, parameters: Parameters = PARAMETERS
) -> list[EventDraft]:
    """All events of a beam, in order of time, none later than ``TODAY``.

    Args:
        made: the beam.
        seed: of the story.
        reference_kn: measured mean peak of the controls, of which sustained loads are a share.
        parameters: see there.
    """
    plan = made.plan
    diary = Diary(plan.code, seed)
    if plan.fate is Fate.NOT_CAST:
        return []
    _cast(diary, plan)
    if plan.spec.plies:
        _strengthened(diary, plan)
    if plan.fate is Fate.LOST:
        diary.log(plan.day(_LOST_DAY, 10.5), "lost", {"why": LOST_WHY}, role=MANAGER)
        return diary.drafts
    if plan.spec.exposure != LABORATORY:
        _exposed(diary, plan, reference_kn)
    if plan.spec.is_cycled:
        _cycled(diary, plan, parameters)
    if plan.fate is Fate.BROKEN:
        _broken(diary, made)
    return [draft for draft in diary.drafts if draft.at < TODAY]


def _cast(diary: Diary, plan: BeamSpec) -> None:
    diary.log(plan.cast_at, "cast", {"batch": plan.pour, "bars": BAR_HEAT})
    diary.log(plan.day(1), "demoulded")
    diary.log(plan.day(1, 9.5), "moved", {"to": "curing room"})
    diary.log(plan.day(1, 9.6), "cured", {"method": "wet burlap under plastic, 7 days"})
    diary.log(plan.day(8), "moved", {"to": "hall, rack B"})


def _strengthened(diary: Diary, plan: BeamSpec) -> None:
    prepared = {"method": "water jet", "profile": 6, "moisture": "saturated surface-dry"}
    diary.log(plan.day(_PREPARED_DAY), "prepared", prepared)
    point = {"point": "surface accepted before the first layer"}
    at = plan.day(_STRENGTHENED_DAY, 8.5)
    diary.log(at, "held", point)
    diary.log(at + timedelta(minutes=20), "released", point, role=MANAGER)
    at += timedelta(minutes=30)
    mortar = {"lot": MORTAR_LOT, "thickness": mm(4.0)}
    diary.log(at, "layer", {"kind": "base mortar", **mortar})
    for ply in range(1, plan.spec.plies + 1):
        fabric = {"kind": "fabric", "ply": ply, "lot": FABRIC_LOT, "orientation": 0.0}
        diary.log(at + timedelta(minutes=12), "layer", fabric)
        if diary.subject == LOGGED_TWICE and ply == 1:
            twice = at + timedelta(minutes=15)
            diary.log(twice, "layer", fabric, device=SECOND_TABLET)
        at += timedelta(minutes=20)
        diary.log(at, "layer", {"kind": "mortar", **mortar})
    at += timedelta(minutes=30)
    diary.log(at, "cured", {"method": "wet cover, 7 days, then in the hall"})


def _exposed(diary: Diary, plan: BeamSpec, reference_kn: float) -> None:
    is_frost = plan.spec.exposure == FROST
    machine = "FROST-1" if is_frost else "SALT-1"
    run = RUNS[plan.pour][int(is_frost)]
    start = plan.day(_EXPOSED_DAY, 11.0)
    days = plan.exposed_days or EXPOSURE_DAYS
    frame = FRAMES.get(plan.code)
    if frame is not None:
        _loaded(diary, plan, frame, reference_kn)
    stay = {"machine": machine, "position": _position(plan), "run": run}
    diary.log(start, "entered", stay)
    end = start + timedelta(days=days)
    diary.log(end, "left", stay)
    if plan.exposed_days is not None:
        words = "Taken out with another beam that was due; noticed when the rack was counted."
        diary.log(end + timedelta(hours=5), "note", {"text": words})
    if frame is not None:
        _unloaded(diary, end + timedelta(hours=1), frame)
    read = end + timedelta(hours=3)
    if diary.subject == READ_WRONG:
        width = {"quantity": "crack-width", "value": mm(WRONG_WIDTH_MM)}
        wrong = diary.log(read, "read", width)
        right = {"quantity": "crack-width", "value": mm(RIGHT_WIDTH_MM)}
        diary.log(read + timedelta(minutes=40), "read", right, corrects=wrong)


def _position(plan: BeamSpec) -> str:
    """Its place in the chamber, from 1: each beam of an exposure keeps one for itself."""
    exposed = [beam.code for beam in BEAMS if beam.spec.exposure == plan.spec.exposure]
    return str(1 + exposed.index(plan.code))


def _loaded(diary: Diary, plan: BeamSpec, frame: str, reference_kn: float) -> None:
    load = round(0.4 * reference_kn, 1)
    words = f"0.4 of the mean measured peak of QS-P0-LAB-S0-M, {reference_kn:.1f} kN"
    diary.log(plan.day(_EXPOSED_DAY, 8.2), "checklist", _checklist("before loading a frame"))
    diary.log(plan.day(_EXPOSED_DAY, 9.0), "entered", {"machine": frame})
    diary.log(plan.day(_EXPOSED_DAY, 9.5), "loaded", {"load": kn(load), "reference": words})
    now = load
    for week in (1, 2, 4, 6, 8, 10, 12):
        now = round(now * (1.0 - 0.012 / week**0.5), 2)
        at = plan.day(_EXPOSED_DAY + 7 * week, 10.0)
        diary.log(at, "read", {"quantity": "load", "value": kn(now)})
        if week == 4:
            brought_back = {"from": kn(now), "to": kn(load)}
            diary.log(at + timedelta(minutes=25), "re-tensioned", brought_back)
            now = load


def _unloaded(diary: Diary, at: datetime, frame: str) -> None:
    last = [d.body["payload"]["value"]["value"] for d in diary.drafts if d.body["kind"] == "read"]
    diary.log(at, "re-tensioned", {"from": kn(last[-1]), "to": kn(0.0)})
    diary.log(at + timedelta(minutes=20), "left", {"machine": frame})


def _checklist(name: str) -> dict[str, object]:
    return {"name": name, "answers": dict(_CHECKLIST)}


def cycling_start(plan: BeamSpec) -> datetime:
    """When the first load cycle of a cycled beam began."""
    return plan.day(plan.test_day, 10.0)


def cycles_reached(plan: BeamSpec, parameters: Parameters = PARAMETERS) -> int:
    """Load cycles that a cycled beam has seen by its end or by ``TODAY``."""
    if plan.fate is Fate.FAILED_IN_CYCLING:
        return FAILED_AFTER
    law = parameters.cycling
    so_far = (TODAY - cycling_start(plan)).total_seconds() * law.frequency_hz
    return min(law.target_cycles, int(so_far))


def cycling_end(plan: BeamSpec, parameters: Parameters = PARAMETERS) -> datetime:
    """When the last of these load cycles ended."""
    seconds = cycles_reached(plan, parameters) / parameters.cycling.frequency_hz
    return cycling_start(plan) + timedelta(seconds=seconds)


def _cycled(diary: Diary, plan: BeamSpec, parameters: Parameters) -> None:
    law, start = parameters.cycling, cycling_start(plan)
    end = cycling_end(plan, parameters)
    diary.log(start - timedelta(hours=1.5), "entered", {"machine": plan.rig})
    diary.log(start - timedelta(minutes=30), "checklist", _checklist("before load cycles"))
    run = {
        "machine": plan.rig,
        "minimum": kn(law.minimum_kn),
        "maximum": kn(law.maximum_kn),
        "frequency": {"value": law.frequency_hz, "unit": "Hz"},
    }
    diary.log(start, "cycling-started", run)
    visit = start + timedelta(hours=6.5)
    while visit < end:
        counted = int((visit - start).total_seconds() * law.frequency_hz)
        diary.log(visit, "counted", {"cycles": counted})
        visit += timedelta(days=1)
    if plan.fate is Fate.CYCLING:
        return
    diary.log(end, "counted", {"cycles": cycles_reached(plan, parameters)})
    if plan.fate is Fate.FAILED_IN_CYCLING:
        reason = "Displacement trip: a bar had broken."
        ended = {"end": "failed in cycling", "mode": BAR_BREAKS.as_dict()}
        diary.log(end + timedelta(seconds=1), "cycling-stopped", {"reason": reason})
        diary.log(end + timedelta(minutes=30), "broken", ended)
        diary.log(end + timedelta(hours=3), "left", {"machine": plan.rig})
        return
    reason = "The target number of load cycles was reached."
    diary.log(end + timedelta(seconds=1), "cycling-stopped", {"reason": reason})


def broken_at(plan: BeamSpec, parameters: Parameters = PARAMETERS) -> datetime:
    """When the break test of a beam began; that of a cycled one on the day after its cycles."""
    if not plan.spec.is_cycled:
        return plan.day(plan.test_day, 10.0)
    days = (cycling_end(plan, parameters).date() - plan.day(0).date()).days
    return plan.day(days + 1, 10.0)


def _broken(diary: Diary, made: BeamMade) -> None:
    plan = made.plan
    at = broken_at(plan)
    if not plan.spec.is_cycled:
        diary.log(at - timedelta(hours=2), "entered", {"machine": plan.rig})
    diary.log(at - timedelta(minutes=20), "checklist", _checklist("before a break test"))
    end = "run-out, then broken" if plan.spec.is_cycled else "broken"
    ended = {"end": end, "mode": made.truth.mode.as_dict()}
    diary.log(at + timedelta(minutes=25), "broken", ended)
    diary.log(at + timedelta(hours=1), "left", {"machine": plan.rig})
    rng = np.random.default_rng(seed_for(diary.seed, plan.code, "opened up"))
    found = "all plies in place" if plan.spec.plies else "no fabric"
    clear = made.measured["h_mm"] - made.measured["d_mm"] - 6.0
    diary.log(
        at + timedelta(hours=3),
        "opened-up",
        {
            "fabric": found,
            "cover": mm(round(clear, 1)),
            "bar position as found": f"{rng.integers(0, 4)} mm off the middle",
        },
    )


def machine_histories(seed: int) -> list[EventDraft]:
    """Events of machines: what was checked, and what went wrong."""
    salt, rig = Diary("SALT-1", seed), Diary("RIG-1", seed)
    stalled = {
        "machine": "SALT-1",
        "words": "The spray pump stalled for three hours; WD-01 lost a quarter of one wet phase.",
    }
    salt.log(TODAY - timedelta(days=150, hours=15), "incident", stalled)
    weekly = {"name": "weekly chamber check", "answers": {"nozzles clear": True, "salt": "3.5 %"}}
    salt.log(TODAY - timedelta(days=146, hours=15), "checklist", weekly)
    moved = {"to": "hall, bay 3"}
    rig.log(TODAY - timedelta(days=300, hours=14), "moved", moved, role=MANAGER)
    return [*salt.drafts, *rig.drafts]
