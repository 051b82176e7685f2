"""Read workbooks of past years and typed results, and who may."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from django.db.models import QuerySet

from labmatrix.evidence.models import Job, RecordFile
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound
from labmatrix.matrix.models import Programme
from labmatrix.matrix.selectors.programme import programme_role
from labmatrix.web.domain.roles import NOT_YOURS, Action, require
from labmatrix.web.models import Person
from results.models import HistoryImport, TypedResult
from specimens.models import Specimen

TYPED = "typed, no raw record"
WORKING = (HistoryImport.Status.CHECKING, HistoryImport.Status.TAKING)


def history_list(programme: Programme) -> QuerySet[HistoryImport]:
    """Workbooks that were sent for a programme, newest first."""
    return HistoryImport.objects.filter(programme=programme)


def history_get(*, actor: Person, import_id: UUID) -> HistoryImport:
    """One of them.

    Raises:
        NotFound: there is none, or the actor is not a lead of its programme.
    """
    found = HistoryImport.objects.select_related("programme", "blob", "job").filter(pk=import_id)
    source = found.first()
    if source is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(programme_role(actor, source.programme), Action.TAKE_HISTORY)
    return source


def history_as_dict(source: HistoryImport) -> dict[str, Any]:
    """A workbook as the API shows it; ``progress`` and ``words`` while work goes on."""
    job: Job | None = source.job
    working = source.status in WORKING
    return {
        "id": str(source.pk),
        "programme": source.programme.code,
        "filename": source.filename,
        "sha256": source.blob.sha256,
        "status": source.status,
        "finished": not working,
        "progress": job.progress if job and working else None,
        "words": (job.progress_words if job and working else "") or source.get_status_display(),
        "asked_at": iso(source.asked_at),
        "taken_at": iso(source.taken_at) if source.taken_at else None,
        "summary": source.summary,
        "error": source.error,
    }


def typed_list(specimen: Specimen) -> list[tuple[TypedResult, RecordFile | None]]:
    """Typed results of a specimen and its locations, each with the raw file that it names."""
    subjects = [specimen.subject_id, *specimen.locations.values_list("subject_id", flat=True)]
    rows = list(
        TypedResult.objects.filter(subject__in=subjects).select_related("subject", "source")
    )
    names = {row.raw_record for row in rows if row.raw_record}
    files = RecordFile.objects.filter(record__subject__in=subjects, name__in=names)
    by_name = {(f.record.subject_id, f.name): f for f in files.select_related("record")}
    return [(row, by_name.get((row.subject_id, row.raw_record))) for row in rows]


def typed_as_dict(row: TypedResult) -> dict[str, Any]:
    """A typed result as the API shows it."""
    return {
        "subject": row.subject.code,
        "name": row.name,
        "method": row.method,
        "at": row.at,
        "value": row.value,
        "unit": row.unit,
        "u": row.u,
        "said": row.said,
        "measured_on": row.measured_on.isoformat() if row.measured_on else None,
        "raw_record": row.raw_record or None,
        "origin": TYPED,
        "import": str(row.source_id),
    }
