"""The work of a reduction job."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from datetime import datetime
from functools import lru_cache
from importlib import metadata
from typing import Any

from labmatrix import __version__
from labmatrix.evidence.models import Blob, Record
from labmatrix.evidence.registry import JobRun
from labmatrix.evidence.services.blob import blob_put
from labmatrix.evidence.services.job_folder import JobFolder
from labmatrix.kernel.canonical import canonical_json, content_key
from labmatrix.kernel.clock import now as clock_now
from labmatrix.kernel.errors import UserError
from results.domain.reduction.instruments import key_of
from results.domain.reduction.outcome import Found, Point
from results.models import Metric, Reduction
from results.services.compute import Computed, compute, metric_id
from results.services.inputs import reduction_inputs


@lru_cache(maxsize=1)
def environment_hash() -> str:
    """SHA-256 of the names and versions of all installed packages."""
    installed = sorted({f"{d.name}=={d.version}" for d in metadata.distributions()})
    return hashlib.sha256("\n".join(installed).encode()).hexdigest()


class ReduceHandler:
    """Reads, reduces, and writes numbers beside what they supersede."""

    def run(self, run: JobRun) -> Callable[[], None]:
        """Compute outside any transaction; what is returned writes the result."""
        record = Record.objects.select_related("subject").get(pk=run.payload["record"])
        Record.objects.filter(pk=record.pk).update(status=Record.Status.READING)
        run.report(0.0, "reading")
        inputs = reduction_inputs(record)
        key = content_key(inputs)
        there = Reduction.objects.filter(key=key, record=record).first()
        why = str(run.payload["why"])
        if there is not None:
            return lambda: _make_current(record, there, why=why, now=clock_now())
        folder = JobFolder(run.job_id, f"{key} {__version__} {environment_hash()}")
        computed = compute(inputs, _reporter(record, run), folder)
        table = _kept(computed, clock_now())
        return lambda: _write(record, inputs, computed, table, why=why, now=clock_now())

    def refuse(self, payload: Mapping[str, Any], error: UserError) -> None:
        """Note on the record why it has no numbers; earlier ones stay as they are."""
        Record.objects.filter(pk=payload["record"]).update(
            status=Record.Status.REFUSED, error=error.as_dict()
        )


def _reporter(record: Record, run: JobRun) -> Callable[[float, str], None]:
    """Pass progress on; the record's status follows it."""

    def report(share: float, words: str) -> None:
        if words == "reducing":
            Record.objects.filter(pk=record.pk).update(status=Record.Status.REDUCING)
        run.report(share, words)

    return report


def _kept(computed: Computed, now: datetime) -> Blob | None:
    """The table among the blobs; done before the transaction, because it may be large."""
    if computed.table is None:
        return None
    with computed.table.open("rb") as stream:
        return blob_put(stream=stream, now=now)


def _point(point: Point | None) -> dict[str, Any] | None:
    if point is None:
        return None
    return {
        "index": point.index,
        "deflection_mm": point.deflection_mm,
        "load_kn": point.load_kn,
        "label": point.label,
    }


def _metric(reduction: Reduction, found: Found, budget: dict[str, Any] | None) -> Metric:
    return Metric(
        id=metric_id(reduction.key, found),
        reduction=reduction,
        name=found.name,
        method=found.method or "",
        value=found.value,
        unit=found.unit,
        u=found.u,
        budget=budget,
        at=found.at,
        bound=found.bound or "",
        point=_point(found.point),
    )


def _write(
    record: Record,
    inputs: Mapping[str, Any],
    computed: Computed,
    table: Blob | None,
    *,
    why: str,
    now: datetime,
) -> None:
    outcome = computed.outcome
    reduction = Reduction.objects.create(
        key=computed.key,
        record=record,
        name=inputs["reduction"]["name"],
        version=inputs["reduction"]["version"],
        inputs=canonical_json(inputs),
        settings=dict(outcome.settings),
        warnings=computed.warnings,
        marks=[_point(mark) for mark in outcome.marks],
        curve=computed.curve,
        table=table,
        is_current=False,
        why=why,
        reduced_at=now,
        software_version=__version__,
        environment=environment_hash(),
    )
    Metric.objects.bulk_create(
        [
            _metric(reduction, found, computed.budgets.get(key_of(found)))
            for found in outcome.metrics
        ]
    )
    _make_current(record, reduction, why=why, now=now)


def _make_current(record: Record, reduction: Reduction, *, why: str, now: datetime) -> None:
    """The record shows this reduction; what it showed before is superseded by it."""
    Reduction.objects.filter(record=record, is_current=True).exclude(pk=reduction.pk).update(
        is_current=False, superseded_at=now, superseded_by=reduction
    )
    Reduction.objects.filter(pk=reduction.pk).update(
        is_current=True, superseded_at=None, superseded_by=None, why=why
    )
    Record.objects.filter(pk=record.pk).update(
        status=Record.Status.REDUCED, error=None, warnings=reduction.warnings
    )
