"""The whole demo as data: plan, people's roles, machines, histories, raw files.

Nothing here touches a database or a disk. A loader creates what ``Story`` lists in the order of
its fields, sends ``events`` through the event door by role, then uploads ``records``: whether a
beam was cracked before its break test follows from its events, so they come first.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from typing import Any

from labmatrix.kernel.canonical import canonical_json
from results.domain.invented.beams import (
    BEAMS,
    TODAY,
    BeamMade,
    BeamSpec,
    Fate,
    beam_made,
    seed_for,
)
from results.domain.invented.break_file import BreakFile, BrokenFile
from results.domain.invented.cyclic_file import CyclicBlock, CyclicFile
from results.domain.invented.diary import LEAD, MANAGER, TECHNICIAN, EventDraft
from results.domain.invented.equipment import (
    BREAK,
    CYCLIC,
    MACHINES,
    REGIMES,
    SENSORS,
    MachineSpec,
    RegimeSpec,
    SensorSpec,
    channel_maps,
    rig_by_code,
)
from results.domain.invented.histories import (
    broken_at,
    cycles_reached,
    cycling_start,
    history,
    machine_histories,
)
from results.domain.invented.materials import LotSpec, TypedSpec, lots, typed_tests
from results.domain.invented.parameters import DEFAULT_SEED, PARAMETERS, Parameters
from results.domain.invented.programme import PROGRAMME, matrix_json, series_json
from results.domain.invented.story_parts import (
    StoryEvent,
    StoryRecord,
    StorySpecimen,
    material_records,
)

ROLES = (LEAD, MANAGER, TECHNICIAN, "sponsor")
REFERENCE_CELL = "P0-LAB-S0-M"
REFUSED_AT_FIRST = "QS-P2-SALT-S0-M-02"
# The first ten load cycles are recorded, and five up to each of the others.
_BLOCK_ENDS = (1_000, 10_000, 100_000, 500_000, 1_000_000, 2_000_000)
_FIRST_CYCLES, _BLOCK_CYCLES = 10, 5


@dataclass(frozen=True)
class Story:
    """Everything, in the order in which a loader needs it.

    Attributes:
        seed: all chance comes from it.
        today: the instant at which the story stands still; nothing is later.
        roles: the people, by role.
        programme, series: keyword arguments of their creation.
        matrix: JSON form of factors, forbidden combinations and cells.
        channel_maps: name -> entries.
        events: in order of time, each body as ``POST /api/events/`` takes it.
        records: of beams, in order of time.
        lots: of material, added before anything is cast.
        typed_tests: what people typed of tests on them, in order of time.
        material_records: raw files of coupons and bars, in order of time.
    """

    seed: int
    today: datetime
    roles: tuple[str, ...]
    programme: Mapping[str, Any]
    series: Mapping[str, Any]
    matrix: Mapping[str, Any]
    regimes: tuple[RegimeSpec, ...]
    machines: tuple[MachineSpec, ...]
    sensors: tuple[SensorSpec, ...]
    channel_maps: Mapping[str, list[dict[str, Any]]]
    specimens: tuple[StorySpecimen, ...]
    events: tuple[StoryEvent, ...]
    records: tuple[StoryRecord, ...]
    lots: tuple[LotSpec, ...] = ()
    typed_tests: tuple[TypedSpec, ...] = ()
    material_records: tuple[StoryRecord, ...] = ()

    def events_by_role(self) -> dict[str, list[dict[str, Any]]]:
        """Event bodies by the role that logs them, each list in order of time."""
        found: dict[str, list[dict[str, Any]]] = {}
        for event in self.events:
            found.setdefault(event.role, []).append(dict(event.body))
        return found

    def events_of(self, subject: str) -> tuple[StoryEvent, ...]:
        """The events of one specimen or machine, in order of time."""
        return tuple(event for event in self.events if event.body["subject"] == subject)

    def fingerprint(self) -> str:
        """SHA-256 over the plan, all events and all files."""
        plan = canonical_json(
            {
                "seed": self.seed,
                "programme": {k: str(v) for k, v in self.programme.items()},
                "series": self.series,
                "matrix": self.matrix,
                "maps": self.channel_maps,
                "specimens": [[s.code, s.measured] for s in self.specimens],
                "events": [[e.role, e.body] for e in self.events],
            }
        )
        whole = hashlib.sha256(plan.encode())
        materials = [[asdict(one) for one in many] for many in (self.lots, self.typed_tests)]
        whole.update(repr(materials).encode())
        for record in (*self.records, *self.material_records):
            about = [record.subject, record.test, record.file_name, record.settings]
            whole.update(canonical_json([*about, record.measured_at]).encode())
            whole.update(record.content())
        return whole.hexdigest()


def story(seed: int = DEFAULT_SEED, parameters: Parameters = PARAMETERS) -> Story:
    """The demo; the same seed and parameters give the same bytes.

    Args:
        seed: of all chance.
        parameters: every stated number.
    """
    beams = tuple(beam_made(plan, seed, parameters) for plan in BEAMS)
    reference = reference_kn(beams)
    drafts = [
        draft
        for made in beams
        for draft in history(made, seed=seed, reference_kn=reference, parameters=parameters)
    ]
    records = [r for made in beams for r in _records(made, seed, parameters)]
    return Story(
        seed=seed,
        today=TODAY,
        roles=ROLES,
        programme=PROGRAMME,
        series=series_json(parameters),
        matrix=matrix_json(parameters),
        regimes=REGIMES,
        machines=MACHINES,
        sensors=SENSORS,
        channel_maps=channel_maps(),
        specimens=tuple(_specimen(made) for made in beams),
        events=_numbered([*drafts, *machine_histories(seed)]),
        records=tuple(sorted(records, key=lambda r: (r.measured_at, r.file_name))),
        lots=lots(parameters),
        typed_tests=tuple(sorted(typed_tests(), key=lambda t: (t.tested_on, t.mark))),
        material_records=material_records(seed, parameters),
    )


def reference_kn(beams: Sequence[BeamMade]) -> float:
    """Mean peak of the controls to which sustained loads refer, kN, as read off their tests."""
    peaks = [b.truth.peak_load_kn for b in beams if b.plan.cell == REFERENCE_CELL]
    return round(sum(peaks) / len(peaks), 1)


def _specimen(made: BeamMade) -> StorySpecimen:
    plan = made.plan
    measured = {} if plan.fate is Fate.NOT_CAST else made.measured
    return StorySpecimen(plan.code, plan.cell, plan.number, measured)


def _numbered(drafts: Sequence[EventDraft]) -> tuple[StoryEvent, ...]:
    """Events in order of time, those of a device with its running number."""
    counters: dict[str, int] = {}
    events = []
    for draft in sorted(drafts, key=lambda d: (d.at, d.body["id"])):
        body = dict(draft.body)
        if device := body.get("device"):
            counters[device] = counters.get(device, 0) + 1
            body["sequence"] = counters[device]
        events.append(StoryEvent(draft.role, body))
    return tuple(events)


def blocks_of(plan: BeamSpec, parameters: Parameters = PARAMETERS) -> tuple[CyclicBlock, ...]:
    """The blocks of load cycles that were recorded of a cycled beam."""
    reached = cycles_reached(plan, parameters)
    ends = [end for end in _BLOCK_ENDS if end <= reached]
    later = (CyclicBlock(end - _BLOCK_CYCLES, _BLOCK_CYCLES) for end in ends)
    return (CyclicBlock(0, _FIRST_CYCLES), *later)


def _records(made: BeamMade, seed: int, parameters: Parameters) -> list[StoryRecord]:
    plan, found = made.plan, []
    if plan.spec.is_cycled:
        found += [_cyclic_record(made, b, seed, parameters) for b in blocks_of(plan, parameters)]
    if plan.fate is Fate.BROKEN:
        good = _break_record(made, seed, parameters)
        found.append(good)
        if plan.code == REFUSED_AT_FIRST:
            found.append(_broken_record(good))
    return found


def _break_record(made: BeamMade, seed: int, parameters: Parameters) -> StoryRecord:
    plan = made.plan
    rig, at = rig_by_code(plan.rig), broken_at(plan, parameters)
    file_seed = seed_for(seed, plan.code, BREAK)
    source = BreakFile(plan.code, rig, at, made.truth, file_seed, parameters)
    return StoryRecord(
        subject=plan.code,
        test=BREAK,
        file_name=f"{plan.code}_break.{_ending(plan.rig)}",
        channel_map=rig.map_name(BREAK, has_fabric=source.has_fabric),
        settings={"bar_yield_strain": parameters.member.yield_strain},
        cycle_offset=cycles_reached(plan, parameters) if plan.spec.is_cycled else 0,
        measured_at=at,
        source=source,
    )


def _ending(rig: str) -> str:
    return "txt" if rig == "TEST-2" else "csv"


def _broken_record(good: StoryRecord) -> StoryRecord:
    return StoryRecord(
        subject=good.subject,
        test=good.test,
        file_name=f"{good.subject}_break_export.csv",
        channel_map=good.channel_map,
        settings=good.settings,
        cycle_offset=good.cycle_offset,
        measured_at=good.measured_at,
        source=BrokenFile(good.subject, good.measured_at),
    )


def _cyclic_record(
    made: BeamMade, block: CyclicBlock, seed: int, parameters: Parameters
) -> StoryRecord:
    plan, law = made.plan, parameters.cycling
    rig = rig_by_code(plan.rig)
    at = cycling_start(plan) + timedelta(seconds=block.cycle_offset / law.frequency_hz)
    file_seed = seed_for(seed, plan.code, CYCLIC, str(block.cycle_offset))
    return StoryRecord(
        subject=plan.code,
        test=CYCLIC,
        file_name=f"{plan.code}_cycles_{block.last:07d}.csv",
        channel_map=rig.map_name(CYCLIC, has_fabric=True),
        settings={
            "target_minimum_kn": law.minimum_kn,
            "target_maximum_kn": law.maximum_kn,
        },
        cycle_offset=block.cycle_offset,
        measured_at=at,
        source=CyclicFile(plan.code, rig, at, made.truth, block, file_seed, parameters),
    )
