"""The one Celery task: do the job of this id."""

from __future__ import annotations

import threading
import uuid
from typing import Any

from celery.signals import task_failure, worker_ready, worker_shutting_down

from labmatrix.evidence.broker import app
from labmatrix.evidence.services.heartbeat import heartbeat_start
from labmatrix.evidence.services.job import TASK_NAME, job_perform, job_release

_ended = threading.Event()


@app.task(name=TASK_NAME)
def job_run(job_id: str) -> bool:
    """Do a job; harmless when it is done, running elsewhere, or unknown."""
    return job_perform(job_id=uuid.UUID(job_id))


@task_failure.connect(sender=job_run)
def release_after_fault(
    args: tuple[str, ...] = (), exception: BaseException | None = None, **kwargs: Any
) -> None:
    """Put a job back after a fault, so that it is tried again without waiting for its lease."""
    if args:
        job_release(job_id=uuid.UUID(args[0]), words=f"{type(exception).__name__}: {exception}")


@worker_ready.connect
def begin_to_beat(sender: Any = None, **kwargs: Any) -> None:
    """Say from now on that this worker lives."""
    heartbeat_start(sorted(sender.app.amqp.queues.consume_from), _ended)


@worker_shutting_down.connect
def stop_beating(**kwargs: Any) -> None:
    """Asked to end: no further beat."""
    _ended.set()
