"""What an assumed error of a sensor would change, and that nothing stored is touched by asking."""

from __future__ import annotations

import io
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from django.apps import apps
from django.db import DatabaseError, transaction

from conditioning.services.sensor import calibration_add, sensor_add
from labmatrix.evidence.models import Job, LedgerEntry, Record
from labmatrix.evidence.registry import handler_get, mirrors
from labmatrix.evidence.services.job import job_claim, job_perform
from labmatrix.kernel.errors import NotFound, ShapeError
from results.domain.assumed_error import AssumedError
from results.domain.reduction.cyclic_stream import CyclicStream
from results.models import Metric, Reduction, WhatIf, WhatIfAnswer, WhatIfNumber
from results.selectors.what_if import what_if_changes, what_if_get, what_if_job, what_if_state
from results.services import cyclic_pass, what_if_answer, what_if_work
from results.services.record import (
    Upload,
    channel_map_save,
    record_receive,
    record_reduce_again,
)
from results.services.what_if import Asked, map_sensors, what_if_ask
from specimens.models import Specimen
from tests.results.broken_series import broken
from tests.results.cyclic_files import columns_of, csv_of
from tests.results.cyclic_signals import fatigue_record
from tests.results.scene import NOW, Scene, curve_csv

MARCH = date(2026, 3, 1)
TESTED = datetime(2026, 4, 10, 10, 0, tzinfo=UTC)
CURVE = [(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (25.0, 72.0), (40.0, 50.0)]
BOTH = [
    {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm", "sensor": "D-1"},
]
# What asking writes itself; every other table must stay as it is.
ITS_OWN = {"results_whatif", "results_whatif_programmes", "results_whatifanswer",
           "results_whatifnumber", "evidence_ledgerentry", "evidence_job"}  # fmt: skip


def tables() -> dict[str, list[dict[str, Any]]]:
    """Every row of every table that asking has no part in."""
    models = list(apps.get_models(include_auto_created=True))
    return {
        m._meta.db_table: list(m._default_manager.order_by("pk").values())
        for m in models
        if m._meta.db_table not in ITS_OWN
    }


def every_cell(cast: Scene) -> None:
    """One broken beam in each cell, measured with LC-3."""
    for cell, peak in (("P0-LAB", 62.0), ("P0-WDS", 56.0), ("P2-LAB", 92.0), ("P2-WDS", 77.0)):
        broken(cast, cell, peak)


def ask(cast: Scene, *errors: AssumedError, **more: Any) -> Asked:
    """Ask as the lead, from March on."""
    asked: dict[str, Any] = {
        "actor": cast.lead,
        "since": MARCH,
        "until": None,
        "why": "the cell was dropped",
        "now": NOW,
        **more,
    }
    return what_if_ask(errors=errors or (AssumedError("LC-3", 1.01),), **asked)


def answered(cast: Scene, *errors: AssumedError, **more: Any) -> WhatIf:
    """Ask, and let the work be done."""
    what_if = ask(cast, *errors, **more).what_if
    job = what_if_job(what_if)
    assert job is not None
    assert job.queue == Job.Queue.LONG
    assert job_perform(job_id=job.id)
    found = what_if_get(actor=cast.lead, what_if_id=str(what_if.id))
    assert what_if_state(found)["status"] == "done", what_if_state(found)
    return found


def changes(what_if: WhatIf) -> dict[str, float | None]:
    """Relative change of each number by its name; of several by one name, the last."""
    return {n.name: n.relative for n in what_if.answer.numbers.all()}


@pytest.fixture
def beam(cast: Scene) -> Specimen:
    """A broken beam, measured in April with LC-3 and D-1."""
    sensor_add(actor=cast.lead, serial="LC-3", quantity="load", unit="kN", now=NOW)
    sensor_add(actor=cast.lead, serial="D-1", quantity="deflection", unit="mm", now=NOW)
    specimen = cast.specimen("P2-LAB")
    cast.broke(specimen)
    cast.record(specimen.code, curve_csv(CURVE), channels=BOTH, measured_at=TESTED)
    return specimen


def test_loads_stiffness_and_energy_scale_and_deflections_stay(cast: Scene, beam: Specimen):
    found = changes(answered(cast, AssumedError("LC-3", 1.01)))
    by = 1.0 / 1.01 - 1.0
    scaled = {n for n in found if "load" in n or "stiffness" in n or n.startswith("energy")}
    assert {"peak_load", "initial_stiffness", "energy_to_peak"} <= scaled
    assert {name: found[name] for name in scaled} == pytest.approx(dict.fromkeys(scaled, by))
    still = {n for n in found if "deflection" in n}
    assert "peak_deflection" in still
    assert [found[name] for name in still] == pytest.approx([0.0] * len(still), abs=1e-12)


def test_the_peak_load_is_the_stored_one_divided_by_the_factor(cast: Scene, beam: Specimen):
    answer = answered(cast, AssumedError("LC-3", 1.01)).answer
    peak = answer.numbers.get(name="peak_load")
    assert peak.old_value == Metric.objects.get(name="peak_load").value == 72.0
    assert peak.new_value == pytest.approx(72.0 / 1.01, rel=1e-15)
    assert answer.content["said"].endswith("in 1 cell move; the largest by −0.99 %.")


def test_a_deflection_sensor_moves_deflections_and_not_loads(cast: Scene, beam: Specimen):
    found = changes(answered(cast, AssumedError("D-1", 0.98)))
    assert found["peak_deflection"] == pytest.approx(1 / 0.98 - 1)
    assert found["initial_stiffness"] == pytest.approx(0.98 - 1)
    assert found["peak_load"] == 0.0


def test_the_factor_composes_with_the_calibration_in_force(cast: Scene):
    cell = sensor_add(actor=cast.lead, serial="LC-3", quantity="load", unit="kN", now=NOW)
    at = TESTED - timedelta(days=30)
    calibration_add(actor=cast.lead, sensor=cell, calibrated_at=at, factor=1.25, now=NOW)
    specimen = cast.specimen("P2-LAB")
    cast.record(specimen.code, curve_csv(CURVE), channels=BOTH, measured_at=TESTED)
    peak = answered(cast, AssumedError("LC-3", 1.01)).answer.numbers.get(name="peak_load")
    assert peak.old_value == pytest.approx(90.0)
    assert peak.new_value == pytest.approx(72.0 * 1.25 / 1.01, rel=1e-14)


def test_an_offset_moves_the_peak_by_itself_where_loads_are_taken_as_recorded(cast: Scene):
    specimen = cast.specimen("P2-LAB")
    told: dict[str, Any] = {"settings": {"zero": "as-recorded"}, "measured_at": TESTED}
    cast.record(specimen.code, curve_csv(CURVE), channels=BOTH, **told)
    error = AssumedError("LC-3", 1.0, 200.0, "N")
    answer = answered(cast, error).answer
    assert answer.numbers.get(name="peak_load").new_value == pytest.approx(71.8)
    assert answer.content["notes"] == []


@pytest.mark.parametrize("zero", [0.0, "first"])
def test_an_offset_that_is_in_the_zero_as_well_drops_out_and_is_said(cast: Scene, zero):
    """By the channel map, or by the rest at the start from which a break test counts."""
    specimen = cast.specimen("P2-LAB")
    zeroed = [{**BOTH[0], "zero": zero}, BOTH[1]]
    cast.record(specimen.code, curve_csv(CURVE), channels=zeroed, measured_at=TESTED)
    answer = answered(cast, AssumedError("LC-3", 1.0, 0.2, "kN")).answer
    assert not answer.numbers.filter(moves=True).exists()
    assert "none moves" in answer.said
    assert answer.content["notes"][0].startswith("The offset drops out of 1 record: ")


def test_nothing_stored_is_changed(cast: Scene):
    every_cell(cast)
    before = tables()
    assert {"results_metric", "results_reduction", "results_release"} <= set(before)
    assert before["results_metric"]
    answered(cast, since=date(2026, 1, 1))
    after = tables()
    assert [name for name in before if before[name] != after[name]] == []


def test_the_conclusions_are_compared_with_and_without_the_error(cast: Scene):
    """One of the cells was measured with LC-3: gains against it move, means of the rest do not.

    P2-LAB has the peak 92, its control P0-LAB 62: the gain is 92/62 − 1, and with the control
    alone divided by 1.01 it is 92·1.01/62 − 1.
    """
    every_cell(cast)
    other = [{**BOTH[0], "sensor": "LC-4"}, BOTH[1]]
    for record in Record.objects.exclude(subject__code__contains="P0-LAB"):
        job = record_reduce_again(
            actor=cast.lead, record=record, why="another cell", channels=other, now=NOW
        )
        assert job_perform(job_id=job.id)
    content = answered(cast, since=date(2026, 1, 1)).answer.content
    told = {(c["cell"], c["metric"], c["what"]): c for c in content["conclusions"]}
    mean = told["P0-LAB", "peak_load", "mean of the cell"]
    assert (mean["old"], mean["new"]) == pytest.approx((62.0, 62.0 / 1.01))
    gain = told["P2-LAB", "peak_load", "gain"]
    assert gain["old"] == pytest.approx(92 / 62 - 1)
    assert gain["new"] == pytest.approx(92 * 1.01 / 62 - 1)
    contribution = told["P2-WDS", "peak_load", "contribution retention"]
    assert contribution["old"] == pytest.approx((77 - 56) / (92 - 62))
    assert contribution["new"] == pytest.approx((77 - 56) / (92 - 62 / 1.01))
    assert ("P2-LAB", "peak_load", "mean of the cell") not in told
    assert content["compared"] > len(content["conclusions"])


def test_gains_stay_where_every_cell_moves_alike(cast: Scene):
    every_cell(cast)
    content = answered(cast, since=date(2026, 1, 1)).answer.content
    peak = {c["what"] for c in content["conclusions"] if c["metric"] == "peak_load"}
    assert peak == {"mean of the cell"}


def test_only_tests_inside_the_period_count_both_days_included(cast: Scene, beam: Specimen):
    day = date(2026, 4, 10)
    for since, until, is_in in (
        (day, day, True),
        (date(2026, 4, 11), None, False),
        (MARCH, date(2026, 4, 9), False),
    ):
        content = answered(cast, since=since, until=until).answer.content
        assert (content["records"] == 1) is is_in
        assert is_in or content["said"].startswith("LC-3 measured 1 record from 2026-04-10 to ")
        assert is_in or "nothing would change" in content["said"]


def test_the_day_of_a_test_is_the_laboratorys(cast: Scene):
    specimen = cast.specimen("P2-LAB")
    # 23:30 UTC on the 9th is 00:30 on the 10th in Lisbon's summer.
    late = datetime(2026, 4, 9, 23, 30, tzinfo=UTC)
    cast.record(specimen.code, curve_csv(CURVE), channels=BOTH, measured_at=late)
    day = date(2026, 4, 10)
    assert answered(cast, since=day, until=day).answer.content["records"] == 1


def test_a_sensor_never_used_gets_a_sentence(cast: Scene, beam: Specimen):
    sensor_add(actor=cast.lead, serial="LC-9", quantity="load", unit="kN", now=NOW)
    answer = answered(cast, AssumedError("LC-9", 1.01)).answer
    assert answer.said.startswith("No number was measured with LC-9: ")
    assert not answer.numbers.exists()


def test_a_sensor_that_nobody_knows_is_refused(cast: Scene, beam: Specimen):
    with pytest.raises(ShapeError) as refused:
        ask(cast, AssumedError("LC-77", 1.01))
    assert refused.value.code == "what-if.sensor-unknown"
    assert not WhatIf.objects.exists()


def test_a_serial_that_only_records_name_can_be_asked_about(cast: Scene):
    specimen = cast.specimen("P2-LAB")
    cast.record(specimen.code, curve_csv(CURVE), channels=BOTH, measured_at=TESTED)
    assert changes(answered(cast))["peak_load"] == pytest.approx(1 / 1.01 - 1)


def test_an_offset_of_another_kind_than_the_sensor_is_refused(cast: Scene, beam: Specimen):
    with pytest.raises(ShapeError) as refused:
        ask(cast, AssumedError("LC-3", 1.0, 0.2, "mm"))
    assert refused.value.code == "unit.mismatch"


def test_serials_that_contain_each_other_are_told_apart(cast: Scene, beam: Specimen):
    other = cast.specimen("P0-LAB")
    named = [{**BOTH[0], "sensor": "LC-30"}, {**BOTH[1], "sensor": "lc-3"}]
    cast.record(other.code, curve_csv(CURVE), channels=named, measured_at=TESTED)
    answer = answered(cast).answer
    assert set(answer.numbers.values_list("specimen", flat=True)) == {beam.code}


def test_all_sensors_of_a_machines_saved_map(cast: Scene, beam: Specimen):
    channel_map_save(actor=cast.lead, name="TEST-1 break", entries=BOTH, now=NOW)
    serials = map_sensors("TEST-1 break")
    assert serials == ["D-1", "LC-3"]
    found = changes(answered(cast, *(AssumedError(s, 1.01) for s in serials)))
    both = [found["peak_load"], found["peak_deflection"]]
    assert both == pytest.approx([1 / 1.01 - 1] * 2)
    assert found["initial_stiffness"] == pytest.approx(0.0, abs=1e-12)
    with pytest.raises(ShapeError):
        map_sensors("TEST-9")


def test_a_cyclic_record_is_computed_again_through_its_passes(cast: Scene):
    specimen = cast.specimen("P2-LAB")
    record = fatigue_record(cycles=40)
    entries = [
        {"column": "time", "quantity": "time", "unit": "s"},
        {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3"},
        {"column": "deflection", "quantity": "deflection", "unit": "mm"},
    ]
    content = csv_of(columns_of(record))
    done = cast.record(specimen.code, content, test="cyclic", channels=entries, measured_at=TESTED)
    assert done.status == "reduced", done.error
    answer = answered(cast).answer
    numbers = list(answer.numbers.filter(name="secant_stiffness"))
    assert len(numbers) > 1
    assert all(n.at is not None for n in numbers)
    assert [n.relative for n in numbers] == pytest.approx([1 / 1.01 - 1] * len(numbers))
    ratios = answer.numbers.filter(name="stiffness_ratio")
    assert ratios.exists()
    assert not ratios.filter(moves=True).exists()
    told = {(c["metric"], c["what"]) for c in answer.content["conclusions"]}
    assert ("secant_stiffness", "mean of the cell") in told
    assert ("stiffness_ratio", "mean of the cell") not in told


@pytest.fixture
def in_small_pieces(monkeypatch, settings):
    """Blocks so small that a short record goes by in many, and keeps its state after each."""
    monkeypatch.setattr(cyclic_pass, "BLOCK_BYTES", 4000)
    monkeypatch.setattr(CyclicStream, "HEAD", 300)
    settings.CHECKPOINT_SECONDS = 0.0


def test_a_streamed_record_is_taken_up_again_inside_its_pass(
    cast: Scene, in_small_pieces, monkeypatch
):
    """Killed half-way through the file: the successor goes on there and finds the same."""
    specimen = cast.specimen("P2-LAB")
    content = csv_of(columns_of(fatigue_record(cycles=16)))
    assert len(content) > 20 * 4000
    entries = [
        {"column": "time", "quantity": "time", "unit": "s"},
        {"column": "load", "quantity": "load", "unit": "kN", "sensor": "LC-3"},
        {"column": "deflection", "quantity": "deflection", "unit": "mm"},
    ]
    cast.record(specimen.code, content, test="cyclic", channels=entries, measured_at=TESTED)
    whole_answer = answered(cast).answer
    job = what_if_job(ask(cast, why="once more", until=date(2026, 5, 1)).what_if)
    assert job is not None
    taken: list[int] = []
    take = cyclic_pass.FilePass._take

    def counting(one: Any, *rest: Any) -> Any:
        taken.append(1)
        if len(taken) == 12:
            raise SystemExit("killed")
        return take(one, *rest)

    monkeypatch.setattr(cyclic_pass.FilePass, "_take", counting)
    with pytest.raises(SystemExit):
        job_perform(job_id=job.id)
    before = len(taken)
    Job.objects.filter(pk=job.id).update(lease_until=NOW - timedelta(days=400))
    assert job_perform(job_id=job.id)
    pieces = len(content) // 4000
    assert before == 12
    assert len(taken) - before < pieces - 6
    fields = ("metric", "new_value", "old_value", "relative")
    again = WhatIfNumber.objects.exclude(answer=whole_answer).values_list(*fields)
    assert list(again) == list(whole_answer.numbers.values_list(*fields))


def test_of_several_files_only_the_sensors_own_channel_moves(cast: Scene):
    """The logger's file has its own load cell; only that of the machine's file is out."""
    specimen = cast.specimen("P2-LAB")
    time = np.arange(0.0, 200.0, 0.5)
    load = np.interp(time, [0.0, 100.0, 150.0, 200.0], [0.0, 60.0, 72.0, 50.0])
    defl = np.interp(time, [0.0, 100.0, 150.0, 200.0], [0.0, 6.0, 25.0, 40.0])
    files = {
        "machine.csv": csv_of({"t": time, "P": load, "w": defl}),
        "logger.csv": csv_of({"time": time, "load2": load, "slip": defl / 50.0}),
    }
    entries = [
        {"column": "t", "quantity": "time", "unit": "s", "file": "machine.csv"},
        {"column": "P", "quantity": "load", "unit": "kN", "sensor": "LC-3", "file": "machine.csv",
         "place": "actuator"},
        {"column": "w", "quantity": "deflection", "unit": "mm", "file": "machine.csv"},
        {"column": "time", "quantity": "time", "unit": "s", "file": "logger.csv"},
        {"column": "load2", "quantity": "load", "unit": "kN", "sensor": "LC-5",
         "file": "logger.csv", "place": "logger"},
        {"column": "slip", "quantity": "slip", "unit": "mm", "file": "logger.csv"},
    ]  # fmt: skip
    record = record_receive(
        actor=cast.lead,
        subject_code=specimen.code,
        test="break",
        uploads=[Upload(name, io.BytesIO(content)) for name, content in files.items()],
        channels=entries,
        now=NOW,
        measured_at=TESTED,
    )
    assert record.job_id is not None
    assert job_perform(job_id=record.job_id)
    record.refresh_from_db()
    assert record.status == "reduced", record.error
    machine = answered(cast, AssumedError("LC-3", 1.01)).answer
    assert machine.numbers.get(name="peak_load").relative == pytest.approx(1 / 1.01 - 1)
    assert {c["file"] for c in machine.content["channels"]} == {"machine.csv"}
    logger = answered(cast, AssumedError("LC-5", 1.01)).answer
    assert not logger.numbers.filter(name="peak_load", moves=True).exists()


def test_the_same_question_again_gives_the_first_answer(cast: Scene, beam: Specimen):
    first = answered(cast)
    again = ask(cast, actor=cast.manager, why="to be sure")
    assert (again.is_new, again.what_if.id) == (False, first.id)
    assert (WhatIf.objects.count(), LedgerEntry.objects.filter(kind="what-if").count()) == (1, 1)
    assert ask(cast, AssumedError("LC-3", 1.02)).is_new
    assert ask(cast, until=date(2026, 5, 1)).is_new


def test_while_it_is_worked_on_the_same_question_is_the_same(cast: Scene, beam: Specimen):
    assert ask(cast).what_if == ask(cast).what_if
    assert Job.objects.filter(kind="what-if").count() == 1


def test_the_same_question_is_worked_on_anew_once_the_records_have_changed(
    cast: Scene, beam: Specimen
):
    first = answered(cast)
    assert what_if_changes(first) == []
    other = cast.specimen("P2-LAB")
    cast.record(other.code, curve_csv(CURVE), channels=BOTH, measured_at=TESTED)
    assert what_if_changes(first) == ["1 reduction measured with the sensor has come in"]
    again = answered(cast)
    assert again.id != first.id
    assert again.answer.content["records"] == 2
    assert first.answer.content["records"] == 1


def test_an_answer_says_when_a_reduction_it_came_from_is_superseded(cast: Scene, beam: Specimen):
    first = answered(cast)
    settings = {"ultimate_share": 0.75}
    job = record_reduce_again(
        actor=cast.lead, record=Record.objects.get(), why="another drop", settings=settings, now=NOW
    )
    job_perform(job_id=job.id)
    words = what_if_changes(first)
    assert any("that was computed again here is not the current one" in w for w in words)
    stored = first.answer.numbers.get(name="peak_load").metric
    assert stored is not None
    assert not stored.reduction.is_current


def test_a_worker_killed_in_the_middle_is_followed_by_one_that_goes_on(
    cast: Scene, beam: Specimen, monkeypatch
):
    other = cast.specimen("P0-LAB")
    cast.record(other.code, curve_csv(CURVE), channels=BOTH, measured_at=TESTED)
    what_if = ask(cast).what_if
    job = what_if_job(what_if)
    assert job is not None
    done: list[str] = []
    redo = what_if_work.redo

    def dying(use, *rest):
        if done:
            raise SystemExit("killed")
        done.append(use.key)
        return redo(use, *rest)

    monkeypatch.setattr(what_if_work, "redo", dying)
    with pytest.raises(SystemExit):
        job_perform(job_id=job.id)
    assert not WhatIfAnswer.objects.exists()
    later: list[str] = []

    def living(use, *rest):
        later.append(use.key)
        return redo(use, *rest)

    monkeypatch.setattr(what_if_work, "redo", living)
    Job.objects.filter(pk=job.id).update(lease_until=NOW - timedelta(days=400))
    assert job_perform(job_id=job.id)
    assert len(done) == len(later) == 1
    assert done != later
    numbers = WhatIfNumber.objects.all()
    assert numbers.count() == Metric.objects.count()
    assert numbers.values("metric").distinct().count() == numbers.count()
    assert not job_perform(job_id=job.id)


def test_a_worker_whose_lease_passed_on_writes_nothing(cast: Scene, beam: Specimen):
    job = what_if_job(ask(cast).what_if)
    assert job is not None
    slow = job_claim(job_id=job.id, now=NOW - timedelta(days=400))
    assert slow is not None
    write = handler_get("what-if").run
    assert job_perform(job_id=job.id)
    with pytest.raises(Exception, match=str(job.id)):
        write(slow)
    assert WhatIfAnswer.objects.count() == 1


def test_a_record_that_cannot_be_computed_any_more_is_named_and_the_rest_answered(
    cast: Scene, beam: Specimen, monkeypatch
):
    other = cast.specimen("P0-LAB")
    cast.record(other.code, curve_csv(CURVE), channels=BOTH, measured_at=TESTED)
    compute = what_if_answer.compute

    def failing(inputs, *rest):
        if inputs["specimen"]["subject"] == other.code:
            raise ShapeError("record.gone", "The file is gone.")
        return compute(inputs, *rest)

    monkeypatch.setattr(what_if_answer, "compute", failing)
    answer = answered(cast).answer
    assert [r["specimen"] for r in answer.content["refused"]] == [other.code]
    assert set(answer.numbers.values_list("specimen", flat=True)) == {beam.code}


def test_numbers_of_an_earlier_version_are_compared_with_the_same_version(
    cast: Scene, beam: Specimen
):
    Reduction.objects.update(version="0")
    Metric.objects.filter(name="peak_load").update(value=70.0)
    answer = answered(cast).answer
    peak = answer.numbers.get(name="peak_load")
    assert (peak.old_value, peak.relative) == (72.0, pytest.approx(1 / 1.01 - 1))
    assert any("earlier version" in note for note in answer.content["notes"])


def test_only_who_may_ask_asks_and_only_who_sees_the_programme_sees(cast: Scene, beam: Specimen):
    for person in (cast.technician, cast.sponsor):
        with pytest.raises(NotFound):
            ask(cast, actor=person)
    made = answered(cast)
    assert what_if_get(actor=cast.technician, what_if_id=str(made.id)) == made
    for person in (cast.sponsor, cast.stranger):
        with pytest.raises(NotFound):
            what_if_get(actor=person, what_if_id=str(made.id))


def test_a_stranger_asks_about_their_own_programme_and_learns_nothing_of_others(
    cast: Scene, beam: Specimen
):
    what_if = ask(cast, actor=cast.stranger).what_if
    job = what_if_job(what_if)
    assert job is not None
    assert job_perform(job_id=job.id)
    answer = WhatIfAnswer.objects.get()
    assert answer.said.startswith("No number was measured with LC-3")
    assert "2026" not in answer.said


def test_question_and_answer_stand_in_the_ledger_and_cannot_change(cast: Scene, beam: Specimen):
    made = answered(cast)
    assert made.entry.kind == "what-if"
    assert made.answer.entry.kind == "what-if-answer"
    mirror = next(m for m in mirrors() if m is what_if_work.what_if_mirror)
    assert list(mirror()) == []
    for row in (made, made.answer, made.answer.numbers.first()):
        with pytest.raises(DatabaseError), transaction.atomic():
            type(row).objects.filter(pk=row.pk).delete()
