"""The invented story holds together: plan, histories, machines, files."""

from __future__ import annotations

import itertools
import uuid
from collections import Counter
from collections.abc import Iterable
from datetime import datetime, timedelta

import pytest

from labmatrix.evidence.domain.channel_map import ChannelMap
from labmatrix.kernel.clock import parse_instant
from labmatrix.matrix.domain.code import specimen_code
from labmatrix.matrix.domain.controls import CONDITIONING, GAIN, find_control, remarks
from labmatrix.matrix.domain.design import MatrixState, route_levels
from labmatrix.matrix.domain.document_json import document_of_json
from labmatrix.matrix.domain.matrix_plan import plan_document
from labmatrix.matrix.domain.route import Route, check_route, resolve_route
from labmatrix.matrix.domain.series_plan import check_member, check_responses
from labmatrix.web.domain.roles import Role
from results.domain.invented.beams import BEAMS, Fate
from results.domain.invented.break_file import BrokenFile
from results.domain.invented.equipment import MACHINES, SENSORS
from results.domain.invented.event_ids import uuid7_from
from results.domain.invented.story import REFUSED_AT_FIRST, StoryRecord, story
from specimens.domain.ages import ages_at
from specimens.domain.catalogue import MACHINE_KINDS, payload_parse, payload_plain
from specimens.domain.event import EventFact
from specimens.domain.fold import Folded, fold, stage_of
from specimens.domain.life import StayInMachine
from specimens.domain.plan import Plan
from tests.results.invented_reading import truth_of

STORY = story()
MATRIX = plan_document(MatrixState(), document_of_json(STORY.matrix)).after
CELLS = {cell.code: cell for cell in MATRIX.cells}
CODES = [specimen.code for specimen in STORY.specimens]
MACHINE_CODES = {machine.code for machine in MACHINES}


def route_of(cell: str) -> Route:
    levels = route_levels(MATRIX.factors, CELLS[cell].levels)
    return resolve_route(STORY.series["route"], levels)


def facts_of(subject: str) -> list[EventFact]:
    return [
        EventFact(
            id=event.body["id"],
            kind=event.body["kind"],
            occurred_at=parse_instant(event.body["occurred_at"]),
            payload=payload_plain(payload_parse(event.body["kind"], event.body["payload"])),
            device=event.body.get("device", ""),
            sequence=event.body.get("sequence"),
            corrects=event.body.get("corrects"),
        )
        for event in STORY.events_of(subject)
    ]


def folded(code: str) -> Folded:
    specimen = next(s for s in STORY.specimens if s.code == code)
    return fold(code, facts_of(code), Plan(route_of(specimen.cell)))


FOLDED = {code: folded(code) for code in CODES}


def ended_at(code: str) -> datetime:
    found = FOLDED[code].life.ended_at
    assert found is not None
    return found


def stay_in(code: str, machine: str) -> tuple[datetime, datetime]:
    stay = next(s for s in FOLDED[code].life.stays if s.machine.startswith(machine))
    assert stay.until is not None
    return stay.since, stay.until


def test_the_same_seed_gives_the_same_story():
    again = story()
    assert again.fingerprint() == STORY.fingerprint()
    contents = [[r.content() for r in made.records[:3]] for made in (again, STORY)]
    assert contents[0] == contents[1]


def seeds_of(records: Iterable[StoryRecord]) -> set[int]:
    return {r.source.seed for r in records if not isinstance(r.source, BrokenFile)}


def test_another_seed_gives_another_story_of_the_same_shape():
    other = story(seed=STORY.seed + 1)
    assert other.fingerprint() != STORY.fingerprint()
    assert [s.code for s in other.specimens] == CODES
    assert [r.file_name for r in other.records] == [r.file_name for r in STORY.records]
    assert seeds_of(other.records).isdisjoint(seeds_of(STORY.records))


# -- the plan ----------------------------------------------------------------------------------


def test_the_matrix_is_incomplete_and_of_about_two_dozen_beams():
    assert sum(cell.replicates for cell in MATRIX.cells) == len(CODES) == 26
    assert len(CELLS) == 14 < 4 * 3 * 2 * 2
    assert Counter(cell.replicates for cell in MATRIX.cells) == {1: 4, 2: 8, 3: 2}


def test_stated_controls_are_those_that_the_parts_of_the_factors_give():
    for cell in MATRIX.cells:
        found = [find_control(kind, cell.levels, MATRIX) for kind in (GAIN, CONDITIONING)]
        assert (cell.gain_control, cell.conditioning_control) == tuple(
            control.code if control else None for control in found
        )


def test_one_twin_is_missing_and_is_said():
    assert [(r.cell, r.kind) for r in remarks(MATRIX)] == [("P2-SALT-S0-C", "gain control")]


def test_both_retentions_can_be_computed_for_salt_and_frost():
    for exposure in ("SALT", "FROST"):
        strengthened = CELLS[f"P2-{exposure}-S0-M"]
        assert strengthened.gain_control == f"P0-{exposure}-S0-M"
        assert strengthened.conditioning_control == "P2-LAB-S0-M"


def test_series_route_and_member_are_sound():
    check_route(
        STORY.series["route"], {f.name: [lv.setting for lv in f.levels] for f in MATRIX.factors}
    )
    assert check_member(STORY.series["member"]) == STORY.series["member"]
    assert check_responses(STORY.series["responses"])
    kinds = [stage.kind.value for stage in route_of("P2-SALT-S40-M").stages()]
    assert kinds == ["cast", "cure", "strengthen", "cure-mortar", "expose", "sustain", "break"]
    assert [s.kind.value for s in route_of("P0-LAB-S0-C").stages()] == [
        "cast",
        "cure",
        "cycle",
        "break",
    ]


def test_codes_are_those_that_the_template_will_give():
    numbers: Counter[str] = Counter()
    for specimen in STORY.specimens:
        numbers[specimen.cell] += 1
        assert specimen.number == numbers[specimen.cell]
        assert specimen.code == specimen_code(
            STORY.series["code_template"],
            series=STORY.series["code"],
            cell=specimen.cell,
            number=specimen.number,
        )
    assert numbers == {cell.code: cell.replicates for cell in MATRIX.cells}


def test_roles_are_those_of_the_product():
    assert set(STORY.roles) == {str(role) for role in Role}
    assert {event.role for event in STORY.events} <= set(STORY.roles)


# -- the histories -----------------------------------------------------------------------------


def test_ids_are_of_version_7_unique_and_in_order_of_time():
    ids = [uuid.UUID(event.body["id"]) for event in STORY.events]
    assert {(key.version, key.variant) for key in ids} == {(7, uuid.RFC_4122)}
    assert ids == sorted(set(ids))
    times = [event.body["occurred_at"] for event in STORY.events]
    assert times == sorted(times)


def test_an_id_begins_with_its_milliseconds():
    at = datetime.fromisoformat("2026-03-01T08:30:00.250Z")
    key = uuid7_from(at, "a", "b")
    assert key.int >> 80 == 1_772_353_800_250
    assert key == uuid7_from(at, "a", "b") != uuid7_from(at, "a", "c")


def test_a_device_counts_its_events_in_order():
    for device in ("TABLET-1", "TABLET-2"):
        numbers = [e.body["sequence"] for e in STORY.events if e.body.get("device") == device]
        assert numbers == list(range(1, len(numbers) + 1))
        assert numbers


def test_nothing_is_later_than_the_day_on_which_the_story_stands_still():
    assert all(parse_instant(e.body["occurred_at"]) < STORY.today for e in STORY.events)
    assert all(record.measured_at < STORY.today for record in STORY.records)


def test_events_of_machines_are_of_kinds_that_machines_have():
    of_machines = [e for e in STORY.events if e.body["subject"] in MACHINE_CODES]
    assert "incident" in {e.body["kind"] for e in of_machines}
    for event in of_machines:
        assert event.body["kind"] in MACHINE_KINDS
        payload_parse(event.body["kind"], event.body["payload"])
    assert {e.body["subject"] for e in STORY.events} <= {*CODES, *MACHINE_CODES}


@pytest.mark.parametrize("plan", BEAMS, ids=lambda plan: plan.code)
def test_each_beam_stands_where_its_fate_says(plan):
    life = FOLDED[plan.code].life
    run_out = plan.spec.is_cycled and plan.fate is Fate.BROKEN
    expected = {
        Fate.BROKEN: "run-out, then broken" if run_out else "broken",
        Fate.NOT_CAST: "planned",
        Fate.UNDER_EXPOSURE: "under exposure",
        Fate.CYCLING: "cycling",
        Fate.FAILED_IN_CYCLING: "failed in cycling",
        Fate.LOST: "lost",
    }[plan.fate]
    assert stage_of(life) == expected
    if life.breaks or life.runs:
        assert life.plies == plan.spec.plies


def test_every_end_but_that_in_the_frame_is_there():
    ends = Counter(f.life.end for f in FOLDED.values() if f.life.end)
    assert ends == {
        "broken": 19,
        "run-out, then broken": 2,
        "failed in cycling": 1,
        "lost": 1,
    }


def test_there_is_one_deviation_one_conflict_and_one_correction():
    deviations = {c: [d.rule for d in f.deviations] for c, f in FOLDED.items() if f.deviations}
    assert deviations == {"QS-P0-SALT-S0-M-02": ["expose.short"]}
    conflicts = {c: [x.rule for x in f.conflicts] for c, f in FOLDED.items() if f.conflicts}
    assert conflicts == {"QS-P2-LAB-S0-M-02": ["event.strengthened-twice"]}
    assert [c for c, f in FOLDED.items() if f.struck] == ["QS-P0-SALT-S0-M-01"]


def test_ages_at_the_test_match_across_the_matrix():
    ages = [
        ages_at(f.life, ended_at(code)).concrete_d
        for code, f in FOLDED.items()
        if f.life.end in ("broken", "run-out, then broken")
    ]
    assert all(age is not None and abs(age - 150.0) < 4.0 for age in ages)


def test_run_outs_reached_their_target_and_the_bar_broke_before():
    cycles = {c: f.life.cycles for c, f in FOLDED.items() if f.life.runs}
    assert cycles["QS-P0-LAB-S0-C-01"] == cycles["QS-P2-LAB-S0-C-01"] == 2_000_000
    assert cycles["QS-P2-SALT-S0-C-01"] == 1_310_000
    assert 500_000 < cycles["QS-P2-LAB-S0-C-02"] < 1_000_000


def test_sustained_load_is_a_share_of_what_the_controls_carried_before():
    peaks = [
        truth_of(record).peak_load_kn
        for record in STORY.records
        if record.test == "break" and record.subject.startswith("QS-P0-LAB-S0-M")
    ]
    assert len(peaks) == 3
    for code in ("QS-P0-SALT-S40-M-01", "QS-P2-SALT-S40-M-01"):
        loaded = next(f for f in facts_of(code) if f.kind == "loaded")
        share = loaded.payload["load"]["value"] / (sum(peaks) / 3.0)
        assert share == pytest.approx(0.4, abs=0.001)
        controls = [ended_at(f"QS-P0-LAB-S0-M-0{n}") for n in (1, 2, 3)]
        assert max(controls) < loaded.occurred_at


def test_sustained_beams_were_loaded_during_their_exposure():
    code = "QS-P2-SALT-S40-M-01"
    (entered, left), (mounted, taken) = (stay_in(code, name) for name in ("SALT", "FRAME"))
    assert mounted < entered < left < taken
    assert FOLDED[code].life.sustained_ever


def overlapping(stays: list[tuple[str, StayInMachine]]) -> list[tuple[str, str]]:
    """Pairs of beams that were in one place at one time."""
    return [
        (one, other)
        for (one, a), (other, b) in itertools.combinations(stays, 2)
        if a.since < (b.until or STORY.today) and b.since < (a.until or STORY.today)
    ]


@pytest.mark.parametrize("machine", MACHINES, ids=lambda machine: machine.code)
def test_no_place_holds_two_beams_at_once(machine):
    places: dict[str, list[tuple[str, StayInMachine]]] = {}
    for code, f in FOLDED.items():
        for stay in f.life.stays:
            if stay.machine == machine.code:
                places.setdefault(stay.position, []).append((code, stay))
    assert len(places) <= machine.positions
    assert {place: overlapping(stays) for place, stays in places.items()} == {
        place: [] for place in places
    }
    assert places


def test_a_checklist_is_signed_before_every_dangerous_test():
    for code in CODES:
        facts = facts_of(code)
        dangerous = [f for f in facts if f.kind in ("cycling-started", "loaded")]
        dangerous += [
            f for f in facts if f.kind == "broken" and f.payload["end"] != "failed in cycling"
        ]
        signed = [f.occurred_at for f in facts if f.kind == "checklist"]
        for fact in dangerous:
            before = timedelta(hours=2)
            assert any(timedelta() < fact.occurred_at - at < before for at in signed)


# -- machines and files ------------------------------------------------------------------------


def test_channel_maps_are_sound_and_name_known_sensors():
    serials = {sensor.serial for sensor in SENSORS}
    for entries in STORY.channel_maps.values():
        made = ChannelMap.from_data(entries)
        assert {e.sensor for e in made.entries if e.sensor} <= serials
    quantities = {s.serial: s.quantity for s in SENSORS}
    for entries in STORY.channel_maps.values():
        for entry in entries:
            if "sensor" in entry:
                assert quantities[entry["sensor"]] == entry["quantity"]


def test_every_sensor_was_calibrated_before_the_first_record():
    first = min(record.measured_at for record in STORY.records)
    for sensor in SENSORS:
        at = [calibration.calibrated_at for calibration in sensor.calibrations]
        assert at == sorted(at)
        assert at[0] < first


def test_every_broken_beam_has_its_record_and_every_block_its_offset():
    broken = {c for c, f in FOLDED.items() if f.life.end in ("broken", "run-out, then broken")}
    assert {r.subject for r in STORY.records if r.test == "break"} == broken
    assert len({r.file_name for r in STORY.records}) == len(STORY.records)
    assert {r.channel_map for r in STORY.records} <= set(STORY.channel_maps)
    blocks: dict[str, list[int]] = {}
    for record in STORY.records:
        if record.test == "cyclic":
            blocks.setdefault(record.subject, []).append(record.cycle_offset)
    assert {code: len(offsets) for code, offsets in blocks.items()} == {
        "QS-P0-LAB-S0-C-01": 7,
        "QS-P2-LAB-S0-C-01": 7,
        "QS-P2-SALT-S0-C-01": 6,
        "QS-P2-LAB-S0-C-02": 5,
    }
    assert all(offsets[0] == 0 and offsets == sorted(offsets) for offsets in blocks.values())


def test_records_were_measured_while_their_beam_was_in_its_rig():
    for record in STORY.records:
        life = FOLDED[record.subject].life
        rig = record.channel_map.split()[0]
        stay = next(s for s in life.stays if s.machine == rig)
        assert stay.since < record.measured_at < (stay.until or STORY.today)


def test_one_record_is_refused_and_sent_again():
    refused = [r for r in STORY.records if r.is_broken]
    assert [r.subject for r in refused] == [REFUSED_AT_FIRST]
    assert any(r.subject == REFUSED_AT_FIRST and not r.is_broken for r in STORY.records)


def test_events_by_role_are_all_of_them_in_order():
    by_role = STORY.events_by_role()
    assert sum(map(len, by_role.values())) == len(STORY.events)
    for bodies in by_role.values():
        times = [body["occurred_at"] for body in bodies]
        assert times == sorted(times)
