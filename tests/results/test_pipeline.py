"""From an uploaded file to numbers with their full origin."""

from __future__ import annotations

import io
import json
from datetime import timedelta

import pytest

from labmatrix.evidence.models import Blob, Job, LedgerEntry, Record
from labmatrix.evidence.services.job import job_perform, job_sweep
from labmatrix.evidence.services.ledger import ledger_verify
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import NotFound, ShapeError
from results.models import Metric, Reduction
from results.services.rebuild import rebuild_all
from results.services.record import channel_map_save, record_reduce_again
from specimens.models import Deviation
from tests.results.scene import CHANNELS, NOW, Scene, curve_csv

# Park (1989) and Naaman and Jeong (1995) are checked on this curve in tests/reference.
CURVE = [(0, 0), (1, 15), (6, 60), (10, 66), (25, 72), (35, 60), (40, 50)]
BREAK_CSV = curve_csv([(float(x), float(y)) for x, y in CURVE])


def value_of(record: Record, name: str) -> float:
    return Metric.objects.get(reduction__record=record, reduction__is_current=True, name=name).value


def test_a_break_record_becomes_numbers(cast: Scene):
    specimen = cast.specimen("P0-LAB")
    record = cast.record(specimen.code, BREAK_CSV)
    assert record.status == "reduced", record.error
    assert value_of(record, "peak_load") == pytest.approx(72.0)
    assert value_of(record, "peak_deflection") == pytest.approx(25.0)
    job = Job.objects.get()
    assert (job.state, job.attempts, job.progress) == ("done", 1, 1.0)


def test_the_key_is_the_hash_of_all_inputs_and_ids_follow_from_it(cast: Scene):
    specimen = cast.specimen("P0-LAB")
    record = cast.record(specimen.code, BREAK_CSV)
    reduction = Reduction.objects.get()
    inputs = json.loads(reduction.inputs)
    assert content_key(inputs) == reduction.key
    assert inputs["files"][0]["sha256"] == Blob.objects.get(record_files__record=record).sha256
    assert set(inputs) == {
        "files", "channel_map", "specimen", "cycle_offset", "calibrations", "settings",
        "reduction",
    }  # fmt: skip
    assert {m.id.version for m in Metric.objects.all()} == {5}


def test_the_same_upload_again_is_the_same_record_and_the_same_work(cast: Scene):
    specimen = cast.specimen("P0-LAB")
    first = cast.record(specimen.code, BREAK_CSV)
    second = cast.record(specimen.code, BREAK_CSV)
    assert first.pk == second.pk
    assert (Record.objects.count(), Job.objects.count(), Reduction.objects.count()) == (1, 1, 1)


def test_performing_a_done_job_again_changes_nothing(cast: Scene):
    record = cast.record(cast.specimen("P0-LAB").code, BREAK_CSV)
    before = list(Metric.objects.values_list("id", "value"))
    assert job_perform(job_id=record.job_id) is False
    assert list(Metric.objects.values_list("id", "value")) == before


def test_other_settings_supersede_and_going_back_restores_the_same_ids(cast: Scene):
    record = cast.record(cast.specimen("P0-LAB").code, BREAK_CSV)
    first = Reduction.objects.get()
    for settings, why in (({"ultimate_share": 0.85}, "other rule"), ({}, "back again")):
        job = record_reduce_again(
            actor=cast.lead, record=record, settings=settings, why=why, now=NOW
        )
        job_perform(job_id=job.id)
    first.refresh_from_db()
    other = Reduction.objects.exclude(pk=first.pk).get()
    assert first.is_current
    assert first.why == "back again"
    assert not other.is_current
    assert other.superseded_by == first
    assert value_of(record, "peak_load") == 72.0


def test_rebuild_gives_identical_numbers(cast: Scene):
    cast.record(cast.specimen("P0-LAB").code, BREAK_CSV)
    (rebuilt,) = list(rebuild_all())
    assert rebuilt.same_environment
    assert rebuilt.count == Metric.objects.count() > 10
    assert rebuilt.differences == ()


def test_rebuild_finds_a_number_that_was_changed_behind_its_back(cast: Scene):
    cast.record(cast.specimen("P0-LAB").code, BREAK_CSV)
    Metric.objects.filter(name="peak_load").update(value=73.0)
    (rebuilt,) = list(rebuild_all())
    assert rebuilt.differences == ("peak_load (at None) was 73.0 and is now 72.0",)


def test_a_broken_file_is_refused_with_a_sentence_and_kept(cast: Scene):
    record = cast.record(cast.specimen("P0-LAB").code, b"<html><body>502</body></html>")
    assert record.status == "refused"
    assert record.error["code"].startswith("record.")
    assert record.error["message"].endswith(".")
    assert Reduction.objects.count() == 0
    assert Blob.objects.count() == 1
    assert Job.objects.get().state == "failed"


def test_a_record_off_the_route_is_accepted_and_opens_a_deviation(cast: Scene):
    specimen = cast.specimen("P0-LAB")
    cast.received(specimen.code, BREAK_CSV, test="sustained")
    assert Deviation.objects.get(specimen=specimen).rule == "record.not-on-route"


def test_a_member_cycled_before_has_no_first_crack(cast: Scene):
    fresh, cycled = cast.specimen("P0-LAB"), cast.specimen("P0-LAB")
    kn = {"value": 5, "unit": "kN"}, {"value": 40, "unit": "kN"}
    run = {"machine": "RIG-1", "minimum": kn[0], "maximum": kn[1],
           "frequency": {"value": 5, "unit": "Hz"}}  # fmt: skip
    cast.log(cycled, "cycling-started", NOW, run)
    cast.log(cycled, "counted", NOW + timedelta(hours=1), {"cycles": 1000})
    one, other = cast.record(fresh.code, BREAK_CSV), cast.record(cycled.code, BREAK_CSV)
    names = [
        set(Metric.objects.filter(reduction__record=r).values_list("name", flat=True))
        for r in (one, other)
    ]
    assert "initial_stiffness" in names[0]
    assert not {"initial_stiffness", "first_crack_load"} & names[1]


def test_a_location_has_records_of_its_own(cast: Scene):
    specimen = cast.specimen("P2-LAB", locations=("A", "B"))
    record = cast.record(f"{specimen.code}-A", BREAK_CSV)
    assert record.status == "reduced"


def test_saved_maps_have_versions_and_the_ledger_has_each(cast: Scene):
    first = channel_map_save(actor=cast.technician, name="RIG-1", entries=CHANNELS, now=NOW)
    same = channel_map_save(actor=cast.technician, name="RIG-1", entries=CHANNELS, now=NOW)
    assert first.pk == same.pk
    turned = [dict(CHANNELS[0], sign=-1), CHANNELS[1]]
    second = channel_map_save(actor=cast.technician, name="RIG-1", entries=turned, now=NOW)
    assert second.version == 2
    assert LedgerEntry.objects.filter(kind="channel-map").count() == 2
    record = cast.record(cast.specimen("P0-LAB").code, BREAK_CSV, channels="RIG-1")
    assert record.channel_map_name == "RIG-1, version 2"


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({"test": "boiling"}, "record.test-unknown"),
        ({"channels": "RIG-9"}, "channels.map-unknown"),
        ({"channels": [{"column": "load"}]}, "channels.malformed"),
        ({"settings": {"colour": "red"}}, "reduction.setting-unknown"),
        ({"cycle_offset": -1}, "input.out-of-range"),
    ],
)
def test_a_request_that_makes_no_sense_is_refused_and_nothing_is_kept(cast, more, code):
    specimen = cast.specimen("P0-LAB")
    with pytest.raises(ShapeError) as refused:
        cast.received(specimen.code, BREAK_CSV, **more)
    assert refused.value.code == code
    assert Record.objects.count() == 0


def test_sponsor_stranger_and_unknown_subject_are_told_the_same_404(cast: Scene):
    specimen = cast.specimen("P0-LAB")
    for actor, code in (
        (cast.sponsor, specimen.code),
        (cast.stranger, specimen.code),
        (cast.technician, "QS-NOWHERE-01"),
    ):
        with pytest.raises(NotFound):
            cast.received(code, BREAK_CSV, actor=actor)


def test_a_poison_job_is_given_up_with_a_sentence(cast: Scene):
    record = cast.received(cast.specimen("P0-LAB").code, BREAK_CSV)
    Job.objects.update(state="running", attempts=5, lease_until=NOW)
    assert job_sweep(now=NOW.replace(year=2027)) == {"sent": 0, "gave_up": 1}
    record.refresh_from_db()
    assert record.status == "refused"
    assert record.error["code"] == "job.gave-up"


def test_the_ledger_holds_what_was_sent_and_asked(cast: Scene):
    cast.record(cast.specimen("P0-LAB").code, BREAK_CSV)
    kinds = list(LedgerEntry.objects.values_list("kind", flat=True))
    assert kinds == ["plan", "event", "record", "reduction-request"]
    assert list(ledger_verify()) == []


def test_the_store_replaces_a_file_that_a_crash_left_half_written(cast: Scene):
    from labmatrix.evidence.services.blob import blob_is_intact, blob_put, blob_storage

    content = b"deflection,load\n" * 100
    blob = blob_put(stream=io.BytesIO(content), now=NOW)
    storage = blob_storage()
    storage.delete(blob.path)
    storage.save(blob.path, io.BytesIO(content[:50]))
    assert not blob_is_intact(blob)
    blob_put(stream=io.BytesIO(content), now=NOW)
    assert blob_is_intact(blob)
