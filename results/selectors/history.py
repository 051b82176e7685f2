"""Read workbooks of past years and imported numbers, and who may."""

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
from results.domain.comparison.groups import IMPORTED
from results.models import HistoryImport, TypedCorrection, TypedResult
from results.selectors.imported import Standing, standing
from specimens.models import Specimen

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


def imported_list(specimen: Specimen) -> list[tuple[Standing, RecordFile | None]]:
    """Imported numbers of a specimen and its locations as they stand, struck ones too, each with
    the raw file that it names."""
    subjects = _subjects(specimen)
    rows = TypedResult.objects.filter(subject__in=subjects).select_related("subject", "source")
    found = [standing(row) for row in rows.prefetch_related("corrections")]
    names = {one.row.raw_record for one in found if one.row.raw_record}
    files = RecordFile.objects.filter(record__subject_id__in=subjects, name__in=names)
    by_name = {(f.record.subject_id, f.name): f for f in files.select_related("record")}
    return [(one, by_name.get((one.row.subject_id, one.row.raw_record))) for one in found]


def _subjects(specimen: Specimen) -> list[int]:
    return [specimen.subject_id, *specimen.locations.values_list("subject_id", flat=True)]


def imported_get(specimen: Specimen, number: int) -> TypedResult:
    """One imported number of a specimen or its locations.

    Raises:
        NotFound: it has none such.
    """
    rows = TypedResult.objects.filter(pk=number, subject__in=_subjects(specimen))
    found = rows.select_related("subject", "source__programme").first()
    if found is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    return found


def imported_as_dict(one: Standing) -> dict[str, Any]:
    """An imported number as the API shows it: as it stands, and as it was taken in."""
    row = one.row
    return {
        "id": row.pk,
        "subject": row.subject.code,
        "name": row.name,
        "method": row.method,
        "at": row.at,
        "value": one.value,
        "unit": row.unit,
        "u": one.u,
        "said": one.said,
        "counts": not one.is_struck,
        "seen": one.seen,
        "taken_in": {"value": row.value, "u": row.u, "said": row.said},
        "corrections": [_correction_as_dict(c) for c in row.corrections.all()],
        "measured_on": row.measured_on.isoformat() if row.measured_on else None,
        "raw_record": row.raw_record or None,
        "origin": IMPORTED,
        "import": str(row.source_id),
    }


def _correction_as_dict(made: TypedCorrection) -> dict[str, Any]:
    return {
        "value": made.value,
        "u": made.u,
        "said": made.said,
        "strikes": made.value is None,
        "why": made.why,
        "by": made.made_by,
        "at": iso(made.made_at),
    }
