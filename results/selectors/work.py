"""What is being worked on: each record's reduction, each series' predictions, how far, what next.

Everything here is JSON-ready in the form that ``progress.js`` reads: ``words``, ``next``,
``progress``, ``finished``, and a ``version`` that changes when what a page shows has changed.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import Count, Max, Q, QuerySet

from labmatrix.evidence.models import Job, Record
from labmatrix.matrix.models import Series
from labmatrix.web.domain.roles import Action, allowed
from labmatrix.web.models import Person
from results.models import Prediction, WhatIf
from results.selectors.record import record_list_visible
from results.selectors.what_if import WHAT_IF_KIND, what_if_ids_visible
from results.services.prediction import JOB_KIND as PREDICT_KIND
from results.services.prediction import prediction_job
from specimens.models import Location, Specimen
from specimens.selectors.access import programme_roles

WORKING = (Record.Status.RECEIVED, Record.Status.READING, Record.Status.REDUCING)
OPEN = (Job.State.WAITING, Job.State.RUNNING)
ROWS_MAX, ENDED_MAX = 60, 12
ALL_DONE = "All of these have come to their end"
NOTHING = "Nothing is being reduced or predicted."
_NEXT = {
    Record.Status.RECEIVED: "the file is read",
    Record.Status.READING: "its cycles or points are found",
    Record.Status.REDUCING: "its numbers stand here",
}
Found = dict[str, Any]


def _records(count: int) -> str:
    return f"{count} record{'' if count == 1 else 's'}"


def _are(count: int) -> str:
    return "is" if count == 1 else "are"


def _waiting_before(job: Job) -> int:
    """How many jobs of the same queue were asked for earlier and are not done."""
    earlier = Q(created_at__lt=job.created_at) | Q(created_at=job.created_at, id__lt=job.id)
    return Job.objects.filter(earlier, queue=job.queue, state__in=OPEN).count()


def _doing(record: Record, job: Job | None) -> str:
    """What is being done to a record now, in words."""
    if record.status == Record.Status.REDUCED:
        return "Reduced"
    if record.status == Record.Status.REFUSED:
        return "Refused"
    words = (job.progress_words if job else "") or record.get_status_display()
    return words[:1].upper() + words[1:]


def record_work(record: Record) -> Found:
    """How far one record is.

    Args:
        record: with its job.
    """
    job, working = record.job, record.status in WORKING
    words, following = _doing(record, job), _NEXT.get(Record.Status(record.status))
    if working and job is not None and job.state == Job.State.WAITING:
        before = _waiting_before(job)
        first = f"{before} other job{'' if before == 1 else 's'} before it"
        words = f"Waiting for a worker, {first if before else 'first in the row'}"
        following = _NEXT[Record.Status.RECEIVED]
    found: Found = {
        "status": record.status,
        "stage": record.status if working else "",
        "words": words,
        "progress": {"fraction": job.progress} if working and job else None,
        "finished": not working,
        "version": f"{record.status} {record.job_id}",
    }
    return found | ({"next": following} if following and working else {})


def record_list_work(*, actor: Person, ids: Sequence[uuid.UUID]) -> Found:
    """How far some records are; those that the person may not see are left out; one query."""
    rows = record_list_visible(actor=actor).filter(pk__in=list(ids))
    found = [(record, record.status in WORKING) for record in rows]
    count = sum(working for _, working in found)
    words = f"{_records(count)} {_are(count)} being reduced" if count else ALL_DONE
    return {
        "stage": words,
        "words": words,
        "progress": {"done": len(found) - count, "total": len(found)} if count else None,
        "finished": not count,
        "version": _version((str(record.id), record.status) for record, _ in found),
        "rows": [_row(record) for record, _ in found],
    }


def _row(record: Record) -> Found:
    return {
        "id": str(record.id),
        "words": _doing(record, record.job),
        "fraction": record.job.progress if record.job and record.status in WORKING else None,
    }


def _version(facts: Iterable[object]) -> str:
    return str(uuid.uuid5(uuid.NAMESPACE_OID, repr(sorted(map(str, facts)))))


def records_of_series(series: Series) -> QuerySet[Record]:
    """Records of the specimens of a series and of places on them."""
    specimens = Specimen.objects.filter(cell__series=series).order_by()
    locations = Location.objects.filter(specimen__cell__series=series).order_by()
    return Record.objects.filter(
        Q(subject__in=specimens.values("subject_id"))
        | Q(subject__in=locations.values("subject_id"))
    )


def series_work(series: Series) -> Found:
    """What is being reduced and predicted in a series; three queries."""
    counted = records_of_series(series).aggregate(
        working=Count("id", filter=Q(status__in=WORKING), distinct=True),
        reduced=Count("id", filter=Q(status=Record.Status.REDUCED), distinct=True),
        last=Max("reductions__reduced_at"),
    )
    job = prediction_job(series)
    predicting = job is not None and job.state in OPEN
    made = Prediction.objects.filter(cell__series=series).aggregate(last=Max("made_at"))["last"]
    count = counted["working"]
    parts = []
    if count:
        parts.append(f"{_records(count)} {_are(count)} being reduced")
    if predicting and job is not None:
        parts.append(f"predictions are being computed ({100 * job.progress:.0f} %)")
    words = " and ".join(parts) if parts else "All that was asked for is done; it stands here"
    found: Found = {
        "stage": f"{_records(count)} {predicting}",
        "words": words[:1].upper() + words[1:],
        "progress": None,
        "finished": not parts,
        "version": f"{counted['reduced']} {counted['last']} {made}",
    }
    return found | ({"next": "this page shows them by itself"} if parts else {})


def predictions_work(series: Series) -> Found:
    """How far the predictions of a series are; done where none was asked for."""
    job = prediction_job(series)
    if job is None:
        return {"status": "done", "progress": None, "finished": True, "version": ""}
    running = job.state in OPEN
    words = job.progress_words if running else {"done": "Predicted"}.get(job.state, job.state)
    found: Found = {
        "status": job.state,
        "stage": job.state,
        "words": (words[:1].upper() + words[1:]) or "Waiting for a worker",
        "progress": {"fraction": job.progress, "words": job.progress_words},
        "finished": not running,
        "version": f"{job.id} {job.state}",
    }
    return found | ({"next": "all of them are shown at once"} if running else {})


def jobs_visible(actor: Person) -> QuerySet[Job]:
    """Jobs on what the person works on: their records, and their series' predictions."""
    mine = [code for code, role in programme_roles(actor).items() if allowed(role, Action.SEE_WORK)]
    series = Series.objects.filter(programme__code__in=mine).values_list("pk", flat=True)
    records = record_list_visible(actor=actor).order_by().values("job")
    predicts = Q(kind=PREDICT_KIND, payload__series__in=list(series))
    asked = Q(kind=WHAT_IF_KIND, payload__what_if__in=what_if_ids_visible(actor))
    return Job.objects.filter(Q(pk__in=records) | predicts | asked)


def person_work(actor: Person) -> Found:
    """What goes on among the work that a person sees, in a line and by job; constant queries."""
    jobs = jobs_visible(actor)
    states = dict(jobs.order_by().values_list("state").annotate(n=Count("id")))
    running, waiting = states.get(Job.State.RUNNING, 0), states.get(Job.State.WAITING, 0)
    words = NOTHING
    if running or waiting:
        ended = sum(states.values()) - running - waiting
        words = f"{running} running, {waiting} waiting, {ended} ended"
    rows = jobs.filter(state__in=OPEN).order_by("-state", "created_at", "id")[:ROWS_MAX]
    return {
        "stage": "" if running or waiting else NOTHING,
        "words": words,
        "progress": None,
        "finished": not running and not waiting,
        "version": _version((row.id, row.state) for row in rows),
        "rows": [
            {"id": str(job.id), "words": _job_words(job), "fraction": job.progress} for job in rows
        ],
    }


def _job_words(job: Job) -> str:
    words = job.progress_words or {"waiting": "waiting for a worker"}.get(job.state, job.state)
    return words[:1].upper() + words[1:]


def work_page(actor: Person) -> tuple[list[Found], list[Found], int]:
    """Jobs that are open and the last that ended, each with what it is of, and how many are open
    beyond those shown; constant queries."""
    jobs = jobs_visible(actor)
    going = list(jobs.filter(state__in=OPEN).order_by("-state", "created_at", "id")[:ROWS_MAX])
    ended = list(jobs.exclude(state__in=OPEN).order_by("-finished_at", "id")[:ENDED_MAX])
    count = jobs.filter(state__in=OPEN).count()
    records = {
        record.job_id: record
        for record in Record.objects.filter(job__in=[*going, *ended]).select_related("subject")
    }
    ids = {job.payload["series"] for job in (*going, *ended) if job.kind == PREDICT_KIND}
    series = {one.pk: one for one in Series.objects.filter(pk__in=ids)}

    asked = [job.payload["what_if"] for job in (*going, *ended) if job.kind == WHAT_IF_KIND]
    questions = {str(one.pk): one for one in WhatIf.objects.filter(pk__in=asked)}

    def shown(job: Job) -> Found:
        record = records.get(job.id)
        of = None if record else series.get(job.payload.get("series"))
        return {
            "job": job,
            "record": record,
            "series": of,
            "what_if": questions.get(job.payload.get("what_if")),
            "words": _job_words(job),
        }

    return [shown(job) for job in going], [shown(job) for job in ended], count - len(going)
