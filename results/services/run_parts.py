"""The other records of a cycling run, as they stand among the inputs of its reduction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from labmatrix.evidence.models import Record
from labmatrix.kernel.clock import iso
from results.models import Reduction


def _begun(record: Record) -> datetime:
    return record.measured_at or record.received_at


def run_parts(record: Record) -> list[dict[str, Any]]:
    """Every other cyclic record of the same subject by the table of its cycles, oldest first.

    Of each its latest cyclic reduction counts, the one that it shows now before all others;
    records that have none yet are no part.
    """
    found: dict[Any, Reduction] = {}
    rows = Reduction.objects.filter(
        record__subject_id=record.subject_id, name="cyclic", table__isnull=False
    ).exclude(record_id=record.pk)
    rows = rows.select_related("record").only(
        "key", "table_id", "is_current", "reduced_at", "record"
    )
    for reduction in rows.order_by("is_current", "reduced_at"):
        found[reduction.record_id] = reduction
    parts = sorted(found.values(), key=lambda one: (_begun(one.record), one.key))
    return [
        {
            "record": str(one.record_id),
            "began": iso(_begun(one.record)),
            "cycle_offset": one.record.cycle_offset,
            "key": one.key,
            "table": one.table_id,
            "is_later": _begun(one.record) > _begun(record),
        }
        for one in parts
    ]
