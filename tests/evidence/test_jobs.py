"""Jobs: asked once, done once, taken up again, given up with a sentence."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Mapping
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection, transaction

from labmatrix.evidence import registry
from labmatrix.evidence.models import Job
from labmatrix.evidence.services import job as jobs
from labmatrix.evidence.services.job import (
    LeaseLost,
    job_cancel,
    job_claim,
    job_perform,
    job_release,
    job_submit,
    job_sweep,
)
from labmatrix.evidence.services.job_folder import JobFolder, folder_of, passing_folder
from labmatrix.evidence.tasks import release_after_fault
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import ShapeError, UserError


class Recorder:
    """A handler that notes what it did."""

    def __init__(self) -> None:
        self.written: list[str] = []
        self.refused: list[str] = []
        self.during: Callable[[registry.JobRun], None] = lambda run: None

    def run(self, run: registry.JobRun) -> Callable[[], None]:
        self.during(run)
        run.report(0.5, "half-way")
        return lambda: self.written.append(str(run.payload["n"]))

    def refuse(self, payload: Mapping[str, Any], error: UserError) -> None:
        self.refused.append(error.code)


@pytest.fixture
def recorder(monkeypatch) -> Recorder:
    handler = Recorder()
    monkeypatch.setitem(registry._handlers, "test", handler)
    return handler


@pytest.fixture
def sent(monkeypatch) -> list[str]:
    found: list[str] = []
    monkeypatch.setattr(jobs, "job_send", lambda job_id, queue: found.append(str(job_id)))
    return found


def submitted(key: str = "k") -> Job:
    return job_submit(kind="test", key=key, payload={"n": key}, now=now())


@pytest.mark.django_db
def test_asking_twice_under_one_key_is_one_job(recorder, sent):
    assert submitted().pk == submitted().pk
    assert Job.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_the_message_goes_out_after_commit_and_never_before(recorder, sent):
    with transaction.atomic():
        job = submitted()
        assert sent == []
    assert sent == [str(job.id)]


@pytest.mark.django_db(transaction=True)
def test_a_rolled_back_request_leaves_neither_job_nor_message(recorder, sent):
    def request() -> None:
        with transaction.atomic():
            submitted()
            raise RuntimeError("the business transaction fails")

    with pytest.raises(RuntimeError):
        request()
    assert (Job.objects.count(), sent) == (0, [])


@pytest.mark.django_db(transaction=True)
def test_of_many_workers_one_claims(recorder, sent):
    job = submitted()
    won: list[bool] = []

    def claim() -> None:
        won.append(job_claim(job_id=job.id, now=now()) is not None)
        connection.close()

    threads = [threading.Thread(target=claim) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(won) == [False] * 7 + [True]


@pytest.mark.django_db
def test_a_job_is_done_once_however_often_its_message_comes(recorder, sent):
    job = submitted()
    assert [job_perform(job_id=job.id) for _ in range(3)] == [True, False, False]
    assert recorder.written == ["k"]


@pytest.mark.django_db
def test_a_worker_whose_lease_passed_to_another_writes_nothing(recorder, sent):
    job = submitted()

    def taken_over(run: registry.JobRun) -> None:
        Job.objects.update(lease_until=now() - timedelta(seconds=1))
        assert job_claim(job_id=job.id, now=now()) is not None

    recorder.during = taken_over
    assert job_perform(job_id=job.id) is False
    assert recorder.written == []


@pytest.mark.django_db
def test_a_result_is_not_written_when_the_lease_was_lost_at_the_very_end(recorder, sent):
    job = submitted()
    first = job_claim(job_id=job.id, now=now())
    assert first is not None
    Job.objects.update(lease_until=now() - timedelta(seconds=1))
    second = job_claim(job_id=job.id, now=now())
    assert second is not None
    with pytest.raises(LeaseLost):
        first.end(Job.State.DONE)
    second.end(Job.State.DONE)
    job.refresh_from_db()
    assert (job.state, job.attempts) == ("done", 2)


@pytest.mark.django_db
def test_a_persons_mistake_ends_the_job_with_its_sentence_and_is_not_tried_again(recorder, sent):
    job = submitted()

    def refuses(run: registry.JobRun) -> None:
        raise ShapeError("record.empty", "The file is empty.")

    recorder.during = refuses
    assert job_perform(job_id=job.id) is True
    job.refresh_from_db()
    assert (job.state, job.error["message"]) == ("failed", "The file is empty.")
    assert recorder.refused == ["record.empty"]
    assert job_sweep(now=now() + timedelta(hours=1)) == {"sent": 0, "gave_up": 0}


@pytest.mark.django_db
def test_a_fault_puts_the_job_back_and_it_is_tried_again(recorder, sent):
    job = submitted()

    def faults(run: registry.JobRun) -> None:
        raise MemoryError("no room")

    recorder.during = faults
    with pytest.raises(MemoryError):
        job_perform(job_id=job.id)
    release_after_fault(args=(str(job.id),), exception=MemoryError("no room"))
    job.refresh_from_db()
    assert (job.state, job.progress_words) == ("waiting", "MemoryError: no room")
    recorder.during = lambda run: None
    assert job_perform(job_id=job.id) is True
    assert recorder.written == ["k"]


@pytest.mark.django_db
def test_the_sweeper_sends_what_was_never_heard_of_and_what_a_dead_worker_held(recorder, sent):
    waiting, orphan, busy = submitted("waiting"), submitted("orphan"), submitted("busy")
    assert job_claim(job_id=orphan.id, now=now() - timedelta(hours=1)) is not None
    assert job_claim(job_id=busy.id, now=now()) is not None
    Job.objects.filter(pk=waiting.pk).update(created_at=now() - timedelta(hours=1))
    assert job_sweep(now=now()) == {"sent": 2, "gave_up": 0}
    assert set(sent) >= {str(waiting.id), str(orphan.id)}


@pytest.mark.django_db
def test_a_job_that_kills_its_worker_is_given_up_after_its_attempts(recorder, sent):
    job = submitted()
    for hours in range(job.max_attempts, 0, -1):
        assert job_claim(job_id=job.id, now=now() - timedelta(hours=hours)) is not None
    assert job_claim(job_id=job.id, now=now()) is None
    assert job_sweep(now=now()) == {"sent": 0, "gave_up": 1}
    job.refresh_from_db()
    assert job.state == "failed"
    assert "started 5 times" in job.error["message"]
    assert recorder.refused == ["job.gave-up"]


@pytest.mark.django_db
def test_cancelling_stops_a_waiting_job_at_once_and_a_running_one_at_its_next_report(
    recorder, sent
):
    waiting, running = submitted("a"), submitted("b")
    job_cancel(job_id=waiting.id, now=now())
    assert job_perform(job_id=waiting.id) is False
    recorder.during = lambda run: job_cancel(job_id=running.id, now=now())
    assert job_perform(job_id=running.id) is True
    assert set(Job.objects.values_list("state", flat=True)) == {"cancelled"}
    assert recorder.written == []


@pytest.mark.django_db
def test_a_cancelled_job_whose_worker_died_is_closed_by_the_sweeper(recorder, sent):
    job = submitted()
    assert job_claim(job_id=job.id, now=now() - timedelta(hours=1)) is not None
    job_cancel(job_id=job.id, now=now())
    job_sweep(now=now())
    job.refresh_from_db()
    assert job.state == "cancelled"


@pytest.mark.django_db
def test_releasing_a_job_that_has_ended_changes_nothing(recorder, sent):
    job = submitted()
    job_perform(job_id=job.id)
    job_release(job_id=job.id, words="late")
    job.refresh_from_db()
    assert job.state == "done"


@pytest.mark.django_db(transaction=True)
def test_what_long_work_kept_goes_with_its_end_and_stays_until_then(recorder, sent):
    job, other = submitted("a"), submitted("b")
    folder = JobFolder(job.id, "inputs")
    assert folder.saved() is None
    folder.save({"at": 1})
    folder.save({"at": 2})
    (folder.path / "part-0").write_bytes(b"x")
    assert JobFolder(job.id, "inputs").saved() == {"at": 2}
    assert JobFolder(job.id, "other inputs").saved() is None
    JobFolder(other.id, "inputs").save({"at": 5})
    job_sweep(now=now())
    assert folder_of(job.id).is_dir()
    assert job_perform(job_id=job.id)
    assert not folder_of(job.id).exists()
    assert folder_of(other.id).is_dir()


@pytest.mark.django_db
def test_the_sweeper_clears_what_a_killed_worker_left(recorder, sent):
    job = submitted("a")
    Job.objects.filter(pk=job.id).update(state="done")
    JobFolder(job.id, "inputs").save({"at": 1})
    with passing_folder() as passing:
        old = passing.path.with_name("passing-old")
        old.mkdir()
        os.utime(old, (0, 0))
        job_sweep(now=now())
        assert passing.path.is_dir()
    assert not folder_of(job.id).exists()
    assert not old.exists()
