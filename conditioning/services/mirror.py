"""Calibrations repeat what the ledger says; both are compared."""

from __future__ import annotations

from collections.abc import Iterator

from conditioning.models import Calibration
from conditioning.services.sensor import calibration_body, sensor_subject
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.registry import Finding
from labmatrix.evidence.services.ledger import entry_content


def calibration_mirror() -> Iterator[Finding]:
    """Calibrations that differ from their ledger entry, and entries whose calibration is gone."""
    rows = Calibration.objects.select_related("entry", "sensor").order_by("entry_id")
    for row in rows.iterator(chunk_size=1000):
        expected = entry_content(
            seq=row.entry.seq,
            recorded_at=row.recorded_at,
            actor=row.recorded_by,
            kind="calibration",
            subject=sensor_subject(row.sensor.serial),
            body=calibration_body(row),
        )
        if expected != row.entry.content:
            yield Finding(
                row.entry.seq,
                f"calibration {row.pk}",
                f"the row gives {expected!r}, the ledger {row.entry.content!r}",
            )
    orphans = LedgerEntry.objects.filter(kind="calibration", calibration__isnull=True)
    for entry in orphans.order_by("seq").iterator(chunk_size=1000):
        yield Finding(entry.seq, "calibration", "the ledger holds a calibration whose row is gone")
