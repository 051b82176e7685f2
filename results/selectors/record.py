"""Read records, their progress and their numbers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Q, QuerySet

from labmatrix.evidence.models import Record, Subject
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import NotFound
from labmatrix.web.domain.roles import NOT_YOURS, Action, allowed, require
from labmatrix.web.models import Person
from results.domain.reduction.budget_data import budget_from_dict, coverage_of
from results.models import Metric, Reduction
from specimens.selectors.access import programme_roles, subject_role


def record_get(*, actor: Person, record_id: str, action: Action = Action.SEE_WORK) -> Record:
    """A record by its id, with subject and job.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    record = Record.objects.filter(pk=record_id).select_related("subject", "job").first()
    if record is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    require(subject_role(record.subject, programme_roles(actor), actor), action)
    return record


def record_list_visible(*, actor: Person) -> QuerySet[Record]:
    """Records whose subject's programme (or, for machines, the laboratory) the person works in."""
    roles = programme_roles(actor)
    mine = [code for code, role in roles.items() if allowed(role, Action.SEE_WORK)]
    where = Q(subject__programme_code__in=mine) & ~Q(subject__kind=Subject.Kind.MACHINE)
    if allowed(actor.role, Action.SEE_WORK):
        where |= Q(subject__kind=Subject.Kind.MACHINE)
    return Record.objects.filter(where).select_related("subject", "job")


def metric_get(*, actor: Person, metric_id: str) -> Metric:
    """A number by its id, with reduction, record and subject.

    Raises:
        NotFound: not there, not theirs, or beyond their role.
    """
    metric = (
        Metric.objects.filter(pk=metric_id)
        .select_related("reduction__record__subject", "reduction__superseded_by")
        .first()
    )
    if metric is None:
        raise NotFound("access.not-yours", NOT_YOURS)
    subject = metric.reduction.record.subject
    require(subject_role(subject, programme_roles(actor), actor), Action.SEE_WORK)
    return metric


def current_reduction(record: Record) -> Reduction | None:
    """The reduction that a record shows now."""
    return Reduction.objects.filter(record=record, is_current=True).first()


def reduction_get(*, record: Record, key: str = "") -> Reduction:
    """The current reduction of a record, or the one of a key, to be drawn or shown.

    Raises:
        NotFound: ``record.no-reduction``.
    """
    chosen = {"key": key} if key else {"is_current": True}
    found = Reduction.objects.filter(record=record, **chosen).first()
    if found is None:
        asked = f"the key {key!r}" if key else "numbers"
        raise NotFound(
            "record.no-reduction",
            f"A reduction with {asked} was asked for; the record has none. Its status is "
            f"{record.status}.",
            key=key,
            status=record.status,
        )
    return found


def progress_of(record: Record) -> dict[str, Any]:
    """{fraction, words, attempts} of the record's job."""
    job = record.job
    if job is None:
        return {"fraction": 0.0, "words": "", "attempts": 0}
    return {"fraction": job.progress, "words": job.progress_words, "attempts": job.attempts}


def _uncertainty(metric: Metric, budget: Mapping[str, Any]) -> dict[str, Any]:
    """{u, unit, level, k, U, dof, method}: dof None where they are infinite."""
    coverage = coverage_of(budget_from_dict(metric.value, budget))
    return {"u": budget["u"], "unit": metric.unit, **coverage}


def metric_as_dict(metric: Metric, reduction: Reduction) -> dict[str, Any]:
    """One number as the API gives it."""
    found: dict[str, Any] = {
        "id": str(metric.id),
        "name": metric.name,
        "method": metric.method or None,
        "value": metric.value,
        "unit": metric.unit,
        "reduction": reduction.name,
        "version": reduction.version,
        "settings": reduction.settings,
        "key": reduction.key,
    }
    if metric.budget is not None:
        found["uncertainty"] = _uncertainty(metric, metric.budget)
    optional = {"u": metric.u, "at": metric.at, "bound": metric.bound or None}
    return found | {name: value for name, value in optional.items() if value is not None}


def record_as_dict(record: Record, *, with_metrics: bool = True) -> dict[str, Any]:
    """A record as the API gives it."""
    found: dict[str, Any] = {
        "id": str(record.id),
        "subject": record.subject.code,
        "test": record.test,
        "status": record.status,
        "progress": progress_of(record),
        "warnings": record.warnings,
        "error": record.error,
        "cycle_offset": record.cycle_offset,
        "received_at": iso(record.received_at),
        "measured_at": iso(record.measured_at) if record.measured_at else None,
    }
    if not with_metrics:
        return found
    reduction = current_reduction(record)
    metrics = Metric.objects.filter(reduction=reduction) if reduction else []
    return found | {
        "files": [
            {"name": f.name, "sha256": f.blob_id, "size_bytes": f.blob.size_bytes}
            for f in record.files.select_related("blob").order_by("position")
        ],
        "channel_map": record.channel_map["entries"],
        "settings": record.settings,
        "summaries": reduction.curve.get("summaries", []) if reduction else [],
        "metrics": [metric_as_dict(m, reduction) for m in metrics] if reduction else [],
    }
