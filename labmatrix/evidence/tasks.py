"""The one Celery task: do the job of this id."""

from __future__ import annotations

import uuid
from typing import Any

from celery.signals import task_failure

from labmatrix.evidence.broker import app
from labmatrix.evidence.services.job import TASK_NAME, job_perform, job_release


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
