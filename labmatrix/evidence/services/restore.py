"""Restore a back-up into an empty installation, and prove that it is the same."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any, BinaryIO, NoReturn, cast

from django.apps import apps as apps_of_today
from django.apps.registry import Apps
from django.core.management import call_command
from django.core.management.color import no_style
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from labmatrix import __version__
from labmatrix.evidence.archive import Archive, archive_open
from labmatrix.evidence.models import Blob
from labmatrix.evidence.rows import LEFT_OUT, Model, Row, rows_digest, rows_write, tables
from labmatrix.evidence.services.backup import (
    BackupSummary,
    file_member,
    migrations_applied,
    summary_of,
    table_member,
)
from labmatrix.evidence.services.blob import blob_is_intact, blob_storage, blob_write
from labmatrix.evidence.services.ledger import ledger_head, ledger_transaction, ledger_verify
from labmatrix.kernel.errors import RuleBroken, ShapeError

_CHUNK = 1 << 20
NOT_EMPTY = (
    "This installation is not empty: table {table} has rows. A back-up is restored into an empty "
    "one only; set STRONGFLOOR_HOME and STRONGFLOOR_DATABASE_URL to new places."
)
TOO_NEW = (
    "The back-up was made by version {version} and has the migration {migration}, which this "
    "version {own} does not know. Restore it with a version at least as new."
)
NO_WAY_BACK = (
    "The back-up is from an earlier version: it lacks the migration {migration}, which this "
    "database has. Restore it into a database without tables; it is brought up to date from there."
)
TABLE_UNKNOWN = "The back-up has the table {table}, which this version does not."
DIFFERENT = "What was restored differs from the back-up in {what}; do not use this installation."


def backup_restore(*, path: Path) -> BackupSummary:
    """Check the archive, load it in one transaction, compare every row and byte with it.

    Rows of an earlier version are loaded as they were and then migrated. Nothing is kept unless
    all of it is there.

    Raises:
        ShapeError: ``backup.missing``, ``backup.cut-short``, ``backup.damaged``,
            ``backup.format``, ``backup.too-new``, ``backup.table`` or ``backup.column``.
        RuleBroken: ``backup.not-empty``, ``backup.no-way-back``, ``backup.row-refused`` or
            ``backup.different``.
    """
    with archive_open(path) as archive:
        _refuse_unless_empty(apps_of_today)
        apps = _migrate_to(archive.manifest)
        with _files_stored(archive), ledger_transaction():
            _refuse_unless_empty(apps)
            _load(archive, apps)
            _compare_rows(archive.manifest, apps)
            if apps is apps_of_today:
                _compare_ledger(archive.manifest)
            _compare_files(archive)
    if apps is not apps_of_today:
        call_command("migrate", verbosity=0)
        _compare_ledger(archive.manifest)
    return summary_of(archive.manifest)


def _refuse_unless_empty(apps: Apps) -> None:
    there = set(connection.introspection.table_names())
    for model in tables(apps):
        table = model._meta.db_table
        if table in there and _has_rows(table):
            raise RuleBroken("backup.not-empty", NOT_EMPTY.format(table=table), table=table)


def _has_rows(table: str) -> bool:
    # Plain SQL, because the table may be that of an earlier version.
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT 1 FROM {connection.ops.quote_name(table)} LIMIT 1")  # noqa: S608
        return cursor.fetchone() is not None


def _migrate_to(manifest: Mapping[str, Any]) -> Apps:
    """Bring the database to the version of the back-up; gives the models of that version."""
    loader = MigrationLoader(connection)
    wanted = {(app, name) for app, names in manifest["migrations"].items() for name in names}
    known = {key for key in loader.disk_migrations if key[0] not in LEFT_OUT}
    for app, name in sorted(wanted - known):
        facts = {"migration": f"{app}.{name}", "version": manifest["version"]}
        own = __version__
        raise ShapeError("backup.too-new", TOO_NEW.format(**facts, own=own), **facts)
    there = {(app, name) for app, names in migrations_applied().items() for name in names}
    for app, name in sorted(there - wanted):
        migration = f"{app}.{name}"
        raise RuleBroken(
            "backup.no-way-back", NO_WAY_BACK.format(migration=migration), migration=migration
        )
    if wanted == known:
        call_command("migrate", verbosity=0)
        return apps_of_today
    ends = _ends(loader, wanted)
    for app, name in ends:
        call_command("migrate", app, name, verbosity=0)
    return loader.project_state(ends).apps


def _ends(loader: MigrationLoader, wanted: set[tuple[str, str]]) -> list[tuple[str, str]]:
    """The last wanted migration of each app."""
    followed = {
        parent
        for key in wanted
        for parent in loader.disk_migrations[key].dependencies
        if parent[0] == key[0]
    }
    return sorted(wanted - followed)


@contextmanager
def _files_stored(archive: Archive) -> Iterator[None]:
    """Put the files into the store first; take the new ones out again if the rest fails."""
    new: list[str] = []
    whole = False
    try:
        for sha256 in _files(archive):
            with archive.member(file_member(sha256)) as stream:
                if blob_write(sha256=sha256, stream=cast(BinaryIO, stream)):
                    new.append(sha256)
        yield
        whole = True
    finally:
        if not whole:
            for sha256 in new:
                blob_storage().delete(Blob(sha256=sha256).path)


def _files(archive: Archive) -> list[str]:
    folder = file_member("")
    names = archive.manifest["members"]
    return sorted(name.removeprefix(folder) for name in names if name.startswith(folder))


def _load(archive: Archive, apps: Apps) -> None:
    models = {model._meta.label_lower: model for model in tables(apps)}
    for label, table in archive.manifest["tables"].items():
        if label not in models:
            raise ShapeError("backup.table", TABLE_UNKNOWN.format(table=label), table=label)
        with archive.member(table_member(label)) as stream:
            rows_write(models[label], table["columns"], _rows(stream))
    connection.check_constraints()
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(models.values())):
            cursor.execute(statement)


def _rows(stream: IO[bytes]) -> Iterator[Row]:
    for line in stream:
        row: Row = json.loads(line)
        yield row


def _compare_rows(manifest: Mapping[str, Any], apps: Apps) -> None:
    for model in tables(apps):
        _compare_table(model, manifest["tables"].get(model._meta.label_lower))


def _compare_table(model: Model, told: Mapping[str, Any] | None) -> None:
    if told is None:
        _different(f"table {model._meta.db_table}, which it does not have")
    found = rows_digest(model, told["columns"])
    if (found.count, found.hexdigest()) != (told["rows"], told["digest"]):
        _different(f"table {model._meta.db_table}")


def _compare_ledger(manifest: Mapping[str, Any]) -> None:
    for finding in ledger_verify():
        _different(f"entry {finding.seq} of the ledger ({finding.words})")
    end, told = ledger_head(), manifest["ledger"]
    if (end["entries"], end["head"]) != (told["entries"], told["head"]):
        _different("the head of the ledger")


def _compare_files(archive: Archive) -> None:
    files = _files(archive)
    if files != sorted(Blob.objects.values_list("sha256", flat=True)):
        _different("its list of files")
    for sha256 in files:
        if not blob_is_intact(Blob(sha256=sha256)):
            _different(f"the file {sha256}")


def _different(what: str) -> NoReturn:
    raise RuleBroken("backup.different", DIFFERENT.format(what=what), what=what)
