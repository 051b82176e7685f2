"""Ask for work, do it once, take it up again after a crash."""

from __future__ import annotations

import logging
import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.db.models.functions import Greatest

from labmatrix.evidence.broker import app
from labmatrix.evidence.models import Job
from labmatrix.evidence.registry import handler_get
from labmatrix.evidence.services.job_folder import job_folder_clear, job_folders_clear_ended
from labmatrix.evidence.services.ledger import ledger_transaction
from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import RuleBroken, UserError

TASK_NAME = "evidence.job_run"
GAVE_UP = "The work was started {attempts} times and never came to an end; it needs a look."
logger = logging.getLogger(__name__)


class JobCancelled(Exception):
    """A person asked to stop."""


class LeaseLost(Exception):
    """Another worker has the job now; whatever this one found is dropped."""


def job_submit(
    *,
    kind: str,
    key: str,
    payload: Mapping[str, Any],
    now: datetime,
    queue: Job.Queue = Job.Queue.SHORT,
) -> Job:
    """Write the job in the running transaction and send its message after commit.

    The same key gives the same job, whatever its state: asking twice does the work once.
    """
    job, created = Job.objects.get_or_create(
        key=key,
        defaults={"kind": kind, "queue": queue, "payload": dict(payload), "created_at": now},
    )
    if created:
        transaction.on_commit(partial(job_send, job.id, job.queue), robust=True)
    return job


def job_send(job_id: uuid.UUID, queue: str) -> None:
    """Hand the id to the broker. A message that is lost is sent again by the sweeper."""
    app.send_task(TASK_NAME, args=[str(job_id)], queue=queue)
    Job.objects.filter(id=job_id).update(sent_at=clock_now())


def job_cancel(*, job_id: uuid.UUID, now: datetime) -> None:
    """Ask to stop: at once when waiting, at the next report when running."""
    Job.objects.filter(id=job_id, state=Job.State.WAITING).update(
        state=Job.State.CANCELLED, finished_at=now
    )
    Job.objects.filter(id=job_id, state=Job.State.RUNNING).update(cancel_requested=True)


@dataclass
class LeasedRun:
    """A claimed job in this process."""

    job_id: uuid.UUID
    token: uuid.UUID
    payload: Mapping[str, Any]

    def report(self, fraction: float, words: str) -> None:
        """Show progress and renew the lease.

        Raises:
            JobCancelled: a person asked to stop.
            LeaseLost: the lease has passed to another worker.
        """
        until = clock_now() + timedelta(seconds=settings.JOB_LEASE_SECONDS)
        mine = Job.objects.filter(id=self.job_id, lease_token=self.token, state=Job.State.RUNNING)
        kept = mine.update(
            progress=Greatest(F("progress"), fraction),
            progress_words=words[:200],
            lease_until=until,
        )
        if not kept:
            raise LeaseLost(str(self.job_id))
        if mine.filter(cancel_requested=True).exists():
            raise JobCancelled(str(self.job_id))

    def end(self, state: Job.State, error: dict[str, Any] | None = None) -> None:
        """Flip the row to its end, if it is still this run's.

        Raises:
            LeaseLost: it is not; the transaction around must roll back.
        """
        ended = Job.objects.filter(
            id=self.job_id, lease_token=self.token, state=Job.State.RUNNING
        ).update(
            state=state,
            error=error,
            finished_at=clock_now(),
            lease_until=None,
            progress=F("progress") if error else 1.0,
        )
        if not ended:
            raise LeaseLost(str(self.job_id))
        transaction.on_commit(partial(job_folder_clear, self.job_id), robust=True)


def job_claim(*, job_id: uuid.UUID, now: datetime) -> LeasedRun | None:
    """Take a waiting job, or one whose lease ran out; None when there is nothing to take."""
    token = uuid.uuid4()
    takeable = Q(state=Job.State.WAITING) | Q(state=Job.State.RUNNING, lease_until__lt=now)
    taken = Job.objects.filter(
        takeable, id=job_id, attempts__lt=F("max_attempts"), cancel_requested=False
    ).update(
        state=Job.State.RUNNING,
        lease_token=token,
        lease_until=now + timedelta(seconds=settings.JOB_LEASE_SECONDS),
        attempts=F("attempts") + 1,
        started_at=now,
        progress=0.0,
        progress_words="",
    )
    if not taken:
        return None
    return LeasedRun(job_id, token, Job.objects.get(id=job_id).payload)


def job_perform(*, job_id: uuid.UUID) -> bool:
    """Claim and do a job: True when this call brought it to an end.

    A fault that is not a person's error is not caught here: the row goes back to waiting by the
    task's failure hook, or by the sweeper when the process died.
    """
    run = job_claim(job_id=job_id, now=clock_now())
    if run is None:
        return False
    handler = handler_get(Job.objects.values_list("kind", flat=True).get(id=job_id))
    try:
        write = handler.run(run)
        with ledger_transaction():
            run.end(Job.State.DONE)
            write()
    except UserError as error:
        return _end_refused(run, error, partial(handler.refuse, run.payload, error))
    except JobCancelled:
        stopped = RuleBroken("job.cancelled", "A person stopped this work.")
        return _end_refused(
            run, stopped, partial(handler.refuse, run.payload, stopped), Job.State.CANCELLED
        )
    except LeaseLost:
        logger.warning("job %s passed to another worker; its result here is dropped", job_id)
        return False
    return True


def _end_refused(
    run: LeasedRun,
    error: UserError,
    note: Callable[[], None],
    state: Job.State = Job.State.FAILED,
) -> bool:
    try:
        with ledger_transaction():
            run.end(state, error.as_dict())
            note()
    except LeaseLost:
        logger.warning("job %s passed to another worker; its refusal is dropped", run.job_id)
        return False
    return True


def job_release(*, job_id: uuid.UUID, words: str) -> None:
    """After a fault: back to waiting, so that the sweeper sends it again, with what was said."""
    Job.objects.filter(id=job_id, state=Job.State.RUNNING).update(
        state=Job.State.WAITING, lease_until=None, lease_token=None, progress_words=words[:200]
    )


def job_sweep(*, now: datetime) -> dict[str, int]:
    """Send again what was lost, give up what never ends: {"sent": n, "gave_up": n}."""
    stale = now - timedelta(seconds=settings.JOB_RESEND_SECONDS)
    unheard = Q(state=Job.State.WAITING) & (
        Q(sent_at=None, created_at__lt=stale) | Q(sent_at__lt=stale)
    )
    orphaned = Q(state=Job.State.RUNNING, lease_until__lt=now)
    gave_up = 0
    exhausted = Job.objects.filter(unheard | orphaned, attempts__gte=F("max_attempts"))
    for job in exhausted:
        gave_up += _give_up(job, now)
    stopped = Job.objects.filter(orphaned, cancel_requested=True)
    for job in stopped:
        _close(
            job,
            Job.State.CANCELLED,
            RuleBroken("job.cancelled", "A person stopped this work."),
            now,
        )
    sent = 0
    for job in Job.objects.filter(
        unheard | orphaned, attempts__lt=F("max_attempts"), cancel_requested=False
    ):
        job_send(job.id, job.queue)
        sent += 1
    job_folders_clear_ended(now=now)
    return {"sent": sent, "gave_up": gave_up}


def _give_up(job: Job, now: datetime) -> int:
    error = RuleBroken("job.gave-up", GAVE_UP.format(attempts=job.attempts), attempts=job.attempts)
    return _close(job, Job.State.FAILED, error, now)


def _close(job: Job, state: Job.State, error: UserError, now: datetime) -> int:
    with ledger_transaction():
        closed = Job.objects.filter(id=job.id, state=job.state, lease_token=job.lease_token).update(
            state=state, error=error.as_dict(), finished_at=now, lease_until=None
        )
        if closed:
            transaction.on_commit(partial(job_folder_clear, job.id), robust=True)
            handler_get(job.kind).refuse(job.payload, error)
    return closed
