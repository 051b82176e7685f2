"""Write a back-up of a running installation: every row of one instant, then every file."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO, cast

from django.apps import apps
from django.db import DEFAULT_DB_ALIAS, connection, connections, transaction
from django.db.migrations.recorder import MigrationRecorder

from labmatrix import __version__
from labmatrix.evidence.archive import ArchiveWriter
from labmatrix.evidence.models import Blob
from labmatrix.evidence.rows import (
    LEFT_OUT,
    Model,
    RowDigest,
    column_names,
    row_line,
    rows_read,
    tables,
)
from labmatrix.evidence.services.blob import blob_open
from labmatrix.evidence.services.ledger import ledger_head, ledger_verify
from labmatrix.kernel.clock import iso
from labmatrix.kernel.errors import RuleBroken

EXISTS = "{path} exists already; a back-up never writes over another. Choose another name."
BROKEN = (
    "The ledger is broken at entry {seq} ({words}). A back-up of it could not be restored and "
    "might push out a good one, so none was written; keep the last good one."
)
BLOB_CHANGED = (
    "The file {sha256} no longer has the bytes that gave its name, so no back-up was written; "
    "restore that file from an earlier back-up first."
)


@dataclass(frozen=True)
class BackupSummary:
    """What a back-up holds, or what was restored from one."""

    tables: int
    rows: int
    files: int
    file_bytes: int
    ledger_entries: int
    ledger_head: str


@contextmanager
def snapshot() -> Iterator[None]:
    """Let this thread read one instant of the database, on a connection that holds up nobody.

    Whatever reads the default database inside sees that instant; nothing may be written.
    """
    usual = connections[DEFAULT_DB_ALIAS]
    reader = usual.copy()
    if reader.vendor == "sqlite":
        # A reader of the write-ahead log sees the instant of its first read.
        options = {**reader.settings_dict["OPTIONS"], "transaction_mode": "DEFERRED"}
        reader.settings_dict = {**reader.settings_dict, "OPTIONS": options}
    connections[DEFAULT_DB_ALIAS] = reader
    try:
        with transaction.atomic():
            if reader.vendor == "postgresql":
                with reader.cursor() as cursor:
                    cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    finally:
        reader.close()
        connections[DEFAULT_DB_ALIAS] = usual


def migrations_applied() -> dict[str, list[str]]:
    """The migrations behind the rows of a back-up, {app: names}."""
    applied: dict[str, list[str]] = {}
    for app, name in sorted(MigrationRecorder(connection).applied_migrations()):
        if app not in LEFT_OUT:
            applied.setdefault(app, []).append(name)
    return applied


def backup_write(*, path: Path, now: datetime) -> BackupSummary:
    """Write the whole installation to one new file; it appears only once it is whole.

    Raises:
        RuleBroken: ``backup.exists``, ``backup.ledger-broken``, ``blob.missing`` or
            ``blob.changed``.
    """
    if path.exists():
        raise RuleBroken("backup.exists", EXISTS.format(path=path), path=str(path))
    partial = path.with_name(f"{path.name}.partial")
    try:
        # It holds password hashes: for nobody but whoever writes it.
        descriptor = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as stream:
            summary = _write(ArchiveWriter(stream), now)
            stream.flush()
            os.fsync(stream.fileno())
        partial.rename(path)
    finally:
        partial.unlink(missing_ok=True)
    return summary


def _write(archive: ArchiveWriter, now: datetime) -> BackupSummary:
    with snapshot():
        _refuse_broken_ledger()
        end = ledger_head()
        manifest: dict[str, Any] = {
            "product": "strongfloor",
            "version": __version__,
            "made_at": iso(now),
            "engine": connection.vendor,
            "migrations": migrations_applied(),
            "ledger": {"entries": end["entries"], "head": end["head"]},
            "tables": {m._meta.label_lower: _add_table(archive, m) for m in tables(apps)},
        }
        blobs = list(Blob.objects.order_by("sha256"))
    # Files are only ever added, so those of the snapshot are all still there.
    for blob in blobs:
        _add_blob(archive, blob)
    manifest["files"] = {"count": len(blobs), "bytes": sum(blob.size_bytes for blob in blobs)}
    archive.close(manifest)
    return summary_of(manifest)


def _refuse_broken_ledger() -> None:
    for finding in ledger_verify():
        facts = {"seq": finding.seq, "words": finding.words}
        raise RuleBroken("backup.ledger-broken", BROKEN.format(**facts), **facts)


def _add_table(archive: ArchiveWriter, model: Model) -> dict[str, Any]:
    names = column_names(model)
    digest = RowDigest()
    with tempfile.TemporaryFile() as lines:
        for row in rows_read(model, names):
            digest.add(row)
            lines.write(row_line(row))
        size = lines.tell()
        lines.seek(0)
        archive.add(table_member(model._meta.label_lower), cast(BinaryIO, lines), size)
    return {"columns": names, "rows": digest.count, "digest": digest.hexdigest()}


def _add_blob(archive: ArchiveWriter, blob: Blob) -> None:
    with blob_open(blob) as stream:
        try:
            sha256 = archive.add(file_member(blob.sha256), stream, blob.size_bytes)
            if stream.read(1):
                sha256 = "more bytes than there were"
        except OSError as error:  # fewer bytes than there were
            sha256 = str(error)
    if sha256 != blob.sha256:
        raise RuleBroken(
            "blob.changed", BLOB_CHANGED.format(sha256=blob.sha256), sha256=blob.sha256
        )


def table_member(label: str) -> str:
    """The part of an archive that holds a table's rows."""
    return f"tables/{label}.jsonl"


def file_member(sha256: str) -> str:
    """The part of an archive that holds a stored file."""
    return f"files/{sha256}"


def summary_of(manifest: dict[str, Any]) -> BackupSummary:
    """A manifest in few numbers."""
    return BackupSummary(
        tables=len(manifest["tables"]),
        rows=sum(table["rows"] for table in manifest["tables"].values()),
        files=manifest["files"]["count"],
        file_bytes=manifest["files"]["bytes"],
        ledger_entries=manifest["ledger"]["entries"],
        ledger_head=manifest["ledger"]["head"],
    )
