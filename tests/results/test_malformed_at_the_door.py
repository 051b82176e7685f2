"""Hundreds of broken files through the door: each a record with numbers and warnings, or a refused
one that says why; the bytes kept as they came, nothing half-stored, nothing doubled."""

from __future__ import annotations

import io
import itertools
import re

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from labmatrix.evidence.models import Blob, Job, Record
from labmatrix.evidence.services.blob import blob_is_intact, blob_open
from labmatrix.evidence.services.job import job_perform
from results.models import Metric, Reduction
from results.services.record import Upload, record_receive
from tests.results.malformed_kinds import NAMED, PLACES, kinds, sound
from tests.results.scene import NOW, Scene
from tests.results.test_pages import looked

KINDS = kinds()
CHANNELS = [
    {"column": "time", "quantity": "time", "unit": "s"},
    {"column": "load", "quantity": "load", "unit": "kN"},
    {"column": "deflection", "quantity": "deflection", "unit": "mm"},
]
GROUPS = 12
# Every fourth kind is looked at on the page, which reads a file as the door does.
LOOKED_AT = 24


def is_sentence(text: str) -> bool:
    return text.endswith(".") and " " in text and "Traceback" not in text and "Error(" not in text


def through_the_door(cast: Scene, subject: str, name: str, data: bytes) -> Record:
    """The record after its job has run, with all that must hold of any file checked."""
    record = record_receive(
        actor=cast.technician,
        subject_code=subject,
        test="break",
        uploads=[Upload(f"{name}.csv", io.BytesIO(data))],
        channels=CHANNELS,
        now=NOW,
    )
    assert record.job_id is not None
    assert job_perform(job_id=record.job_id), name
    record.refresh_from_db()
    file = record.files.get()
    with blob_open(file.blob) as stream:
        assert stream.read() == data, name
    job = Job.objects.get(pk=record.job_id)
    numbers = Metric.objects.filter(reduction__record=record).count()
    reductions = Reduction.objects.filter(record=record).count()
    if record.status == "refused":
        assert is_sentence(record.error["message"]), (name, record.error)
        assert re.fullmatch(r"[a-z-]+(\.[a-z-]+)+", record.error["code"]), name
        assert (job.state, job.error) == ("failed", record.error), name
        assert (numbers, reductions) == (0, 0), name
    else:
        assert (record.status, job.state, reductions) == ("reduced", "done", 1), name
        assert all(is_sentence(w["message"]) for w in record.warnings), (name, record.warnings)
    return record


def test_there_are_more_than_two_hundred_kinds():
    assert len(KINDS) >= 200
    assert len(set(KINDS.values())) == len(KINDS)


@pytest.mark.parametrize("group", range(GROUPS))
def test_each_kind_is_reduced_with_warnings_or_refused_in_a_sentence(cast: Scene, group: int):
    subject = cast.specimen("P2-LAB").code
    outcomes = set()
    mine = list(itertools.islice(KINDS.items(), group, None, GROUPS))
    for name, data in mine:
        outcomes.add(through_the_door(cast, subject, name.replace("/", " "), data).status)
    assert Record.objects.count() == Job.objects.count() == len(mine)
    assert outcomes == {"reduced", "refused"}


@pytest.mark.parametrize("group", range(LOOKED_AT // 4))
def test_looking_at_a_broken_file_makes_no_record_and_no_job(cast: Scene, client, group: int):
    client.force_login(cast.technician)
    subject = cast.specimen("P2-LAB").code
    for name, data in itertools.islice(KINDS.items(), group, None, LOOKED_AT):
        page = looked(client, subject, data)
        assert page.status_code in (200, 400), name
        assert (Record.objects.count(), Job.objects.count()) == (0, 0), name
        if page.status_code == 400:
            errors = page.context["form"].non_field_errors()
            assert len(errors) == 1, name
            assert is_sentence(errors[0]), (name, errors)
    assert all(blob_is_intact(blob) for blob in Blob.objects.all())


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    faults=st.lists(
        st.tuples(st.sampled_from(sorted(NAMED)), st.sampled_from(sorted(PLACES))),
        min_size=2,
        max_size=4,
    ),
    cut=st.floats(0.3, 1.0),
)
def test_any_faults_together_are_reduced_or_refused(
    cast: Scene, faults: list[tuple[str, str]], cut: float
):
    lines = sound()
    for name, place in faults:
        lines = NAMED[name](lines, PLACES[place])
    data = b"\n".join(lines)
    specimen = next(iter(cast.specimens.values()), None) or cast.specimen("P2-LAB")
    number = Record.objects.count()
    through_the_door(cast, specimen.code, f"together {number}", data[: round(cut * len(data))])
