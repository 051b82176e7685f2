"""Back-up and restore: both engines, there and back and across, running or not."""

from __future__ import annotations

import io
import json
import os
import random
import re
import shutil
import sqlite3
import sys
import tarfile
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

import pytest
from django.apps import apps
from django.db import models

from labmatrix.evidence.archive import ArchiveWriter, archive_open
from labmatrix.evidence.rows import RowDigest, columns, row_line, tables
from labmatrix.evidence.rows import _plain as plain
from labmatrix.kernel.errors import ShapeError
from tests.installation import Installation, wait_for

FILL = (sys.executable, "-m", "tests.evidence.backup_source")
ENGINES = ("sqlite", pytest.param("postgresql", marks=pytest.mark.postgres))


@pytest.fixture
def new_installation(tmp_path, request):
    made = []

    def new(name, engine="sqlite"):
        url = {}
        if engine == "postgresql":
            url = {"STRONGFLOOR_DATABASE_URL": request.getfixturevalue("postgres_databases")()}
        installation = Installation(tmp_path / name, **url)
        made.append(installation)
        return installation

    yield new
    for installation in made:
        installation.end()


@pytest.fixture
def filled_source(new_installation, filled_home):
    """An installation on SQLite that is filled already."""
    source = new_installation("source")
    shutil.copytree(filled_home, source.home)
    return source


def filled(installation):
    installation.migrate()
    process = installation.start(*FILL)
    assert process.wait(timeout=120) == 0, installation.said()
    return installation


@pytest.fixture(scope="module")
def filled_home(tmp_path_factory):
    """The home of a filled installation on SQLite, to be copied."""
    return filled(Installation(tmp_path_factory.mktemp("source") / "home")).home


@pytest.fixture(scope="module")
def archive(filled_home):
    """A back-up of a filled installation on SQLite."""
    path = filled_home.parent / "backup.tar"
    succeed(Installation(filled_home).manage("backup", str(path)))
    return path


@pytest.fixture
def rewritten(tmp_path):
    """Write an archive anew, whole in itself, with members or manifest changed."""

    def write(path, change_member, change_manifest=lambda told: None):
        new = tmp_path / "rewritten.tar"
        with archive_open(path) as old, new.open("wb") as stream:
            writer = ArchiveWriter(stream)
            for name in old.manifest["members"]:
                with old.member(name) as member:
                    data = member.read()
                data = change_member(name, data) if change_member else data
                writer.add(name, io.BytesIO(data), len(data))
            told = {**old.manifest}
            change_manifest(told)
            writer.close(told)
        return new

    return write


def succeed(done):
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def manifest(path):
    with archive_open(path) as opened:
        return opened.manifest


def content(path):
    """What must be the same in a back-up of the back-up: all but the moment and the engine."""
    told = manifest(path)
    files = sorted(name for name in told["members"] if name.startswith("files/"))
    return {**{key: told[key] for key in ("tables", "ledger", "migrations")}, "files": files}


def assert_empty(installation):
    with sqlite3.connect(installation.home / "strongfloor.sqlite3") as database:
        for (table,) in database.execute(
            "SELECT name FROM sqlite_master WHERE type = 'table' AND name LIKE 'evidence_%'"
        ).fetchall():
            assert database.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)
    assert [p for p in (installation.home / "blobs").rglob("*") if p.is_file()] == []


@pytest.mark.parametrize("target_engine", ENGINES)
@pytest.mark.parametrize("source_engine", ENGINES)
def test_a_restored_copy_has_every_row_and_byte(
    new_installation, archive, tmp_path, source_engine, target_engine
):
    first, second = archive, tmp_path / "second.tar"
    if source_engine != "sqlite":
        first = tmp_path / "first.tar"
        succeed(filled(new_installation("source", source_engine)).manage("backup", str(first)))
    target = new_installation("target", target_engine)
    said = succeed(target.manage("restore", str(first)))
    assert "Compared with the archive and found the same: every row" in said
    succeed(target.manage("backup", str(second)))
    assert content(second) == content(first)
    told = manifest(first)
    assert told["engine"] == source_engine
    assert told["ledger"]["entries"] == 41
    assert told["files"]["count"] == 43
    assert told["tables"]["evidence.job"]["rows"] == 1
    # The next number of an automatic key does not collide with a restored one.
    assert target.start(*FILL, "--keep-writing").poll() is None
    wait_for(lambda: "1003" in target.said(), "the copy can be written to")


@pytest.mark.parametrize("engine", ENGINES)
def test_takes_one_instant_of_an_installation_that_is_being_written_to(
    new_installation, tmp_path, engine
):
    source = filled(new_installation("source", engine))
    writer = source.start(*FILL, "--keep-writing")
    wait_for(lambda: "1005" in source.said(), "it is being written to")
    path = tmp_path / "running.tar"
    before = len(source.said().splitlines())
    succeed(source.manage("backup", str(path)))
    assert writer.poll() is None
    assert len(source.said().splitlines()) > before, "the back-up held the writer up"
    succeed(new_installation("target").manage("restore", str(path)))


def test_the_archive_is_a_plain_tar_for_its_owner_only(archive):
    assert os.stat(archive).st_mode & 0o777 == 0o600
    with tarfile.open(archive) as tar:
        names = tar.getnames()
    assert names[-1] == "manifest.json"
    assert "tables/evidence.ledgerentry.jsonl" in names
    assert not any("session" in name for name in names)


def test_never_writes_over_another_back_up(archive, filled_source):
    before = archive.read_bytes()
    done = filled_source.manage("backup", str(archive))
    assert done.returncode == 1
    assert "never writes over another" in done.stderr
    assert archive.read_bytes() == before


def test_refuses_to_back_up_a_broken_ledger(filled_source, tmp_path):
    source = filled_source
    with sqlite3.connect(source.home / "strongfloor.sqlite3") as database:
        database.execute("DROP TRIGGER evidence_ledgerentry_no_update")
        database.execute(
            "UPDATE evidence_ledgerentry SET content = replace(content, 'QB-1', 'QB-2')"
            " WHERE seq = 7"
        )
    done = source.manage("backup", str(tmp_path / "backup.tar"))
    assert done.returncode == 1
    assert "broken at entry 7" in done.stderr
    assert list(tmp_path.glob("backup*")) == []


@pytest.mark.parametrize("harm", ["lost", "changed", "longer", "shorter"])
def test_refuses_to_back_up_without_a_file_as_it_came(filled_source, tmp_path, harm):
    source = filled_source
    blob = max((p for p in (source.home / "blobs").rglob("*") if p.is_file()), key=os.path.getsize)
    data = blob.read_bytes()
    blob.unlink()
    changed = {"changed": b"X" + data[1:], "longer": data + b"X", "shorter": data[:-1]}
    if harm in changed:
        blob.write_bytes(changed[harm])
    done = source.manage("backup", str(tmp_path / "backup.tar"))
    assert done.returncode == 1
    assert blob.name in done.stderr
    assert list(tmp_path.glob("backup*")) == []


def test_restores_into_an_empty_installation_only(archive, filled_source, tmp_path):
    other = filled_source
    done = other.manage("restore", str(archive))
    assert done.returncode == 1
    assert "This installation is not empty" in done.stderr
    after = tmp_path / "after.tar"
    succeed(other.manage("backup", str(after)))
    assert content(after) == content(archive)


def test_one_changed_byte_in_a_row_is_located_and_nothing_is_restored(
    archive, new_installation, tmp_path
):
    damaged = tmp_path / "damaged.tar"
    data = bytearray(archive.read_bytes())
    data[data.index(b'"messung.csv"') + 3] ^= 1
    damaged.write_bytes(data)
    target = new_installation("target")
    done = target.manage("restore", str(damaged))
    assert done.returncode == 1
    assert "tables/evidence.recordfile.jsonl no longer gives its digest" in done.stderr
    assert not (target.home / "strongfloor.sqlite3").exists()


def test_no_changed_byte_goes_unnoticed(archive, tmp_path):
    damaged = tmp_path / "damaged.tar"
    data = archive.read_bytes()
    places = random.Random(1).sample(range(len(data)), 150)
    for place in [0, 1, len(data) - 1, len(data) - 70, len(data) - 95, *places]:
        changed = bytearray(data)
        changed[place] ^= 0x10
        damaged.write_bytes(changed)
        with pytest.raises(ShapeError), archive_open(damaged):
            pass


@pytest.mark.parametrize("length", [0, 1, 93, 94, 512, 20_000, -1])
def test_a_back_up_that_was_cut_short_is_refused(archive, tmp_path, length):
    short = tmp_path / "short.tar"
    short.write_bytes(archive.read_bytes()[:length])
    with pytest.raises(ShapeError) as refused, archive_open(short):
        pass
    assert refused.value.code == "backup.cut-short"


def test_says_that_there_is_no_such_file(new_installation, tmp_path):
    done = new_installation("target").manage("restore", str(tmp_path / "none.tar"))
    assert done.returncode == 1
    assert "There is no file" in done.stderr


def test_a_row_that_the_database_refuses_leaves_the_target_empty(
    archive, new_installation, rewritten
):
    """An archive that is whole, but whose chain was broken by whoever made it."""

    def break_chain(name, data):
        if name != "tables/evidence.ledgerentry.jsonl":
            return data
        lines = data.splitlines(keepends=True)
        return b"".join([*lines[:5], *lines[6:]])

    target = new_installation("target")
    done = target.manage("restore", str(rewritten(archive, break_chain)))
    assert done.returncode == 1
    assert re.search(r"evidence_ledgerentry, rows 1 to \d+: the database refuses", done.stderr)
    assert_empty(target)


def test_a_row_that_is_missing_leaves_the_target_empty(archive, new_installation, rewritten):
    def drop_job(name, data):
        return b"" if name == "tables/evidence.job.jsonl" else data

    target = new_installation("target")
    done = target.manage("restore", str(rewritten(archive, drop_job)))
    assert done.returncode == 1
    assert "differs from the back-up in table evidence_job" in done.stderr
    assert_empty(target)


def test_a_back_up_of_a_later_version_is_refused(archive, new_installation, rewritten):
    def add_migration(told):
        told["migrations"]["evidence"].append("0099_later")
        told["version"] = "9.9.9"

    target = new_installation("target")
    done = target.manage("restore", str(rewritten(archive, None, add_migration)))
    assert done.returncode == 1
    assert "made by version 9.9.9 and has the migration evidence.0099_later" in done.stderr


def test_a_back_up_of_an_earlier_version_is_brought_up_to_date(archive, new_installation):
    target = new_installation("target")
    target.environment["DJANGO_SETTINGS_MODULE"] = "tests.evidence.later_version.settings"
    succeed(target.manage("restore", str(archive)))
    with sqlite3.connect(target.home / "strongfloor.sqlite3") as database:
        assert database.execute("SELECT code, added_later FROM evidence_subject").fetchall() == [
            ("QB-1", "as before")
        ]
    succeed(target.manage("verify-ledger"))


def test_a_later_database_does_not_take_an_earlier_back_up(archive, new_installation):
    target = new_installation("target")
    target.environment["DJANGO_SETTINGS_MODULE"] = "tests.evidence.later_version.settings"
    target.migrate()
    done = target.manage("restore", str(archive))
    assert done.returncode == 1
    assert "Restore it into a database without tables" in done.stderr


KINDS: dict[type[models.Field[Any, Any]], list[object]] = {
    models.CharField: ["", "ε ≤ 0.012"],
    models.TextField: ["two\nlines"],
    models.EmailField: ["lead@example.org"],
    models.BooleanField: [True, False],
    models.IntegerField: [0, -5],
    models.PositiveIntegerField: [7],
    models.PositiveSmallIntegerField: [7],
    models.SmallIntegerField: [-7],
    models.BigIntegerField: [2**62],
    models.PositiveBigIntegerField: [2**62],
    models.BigAutoField: [3],
    models.FloatField: [0.1, 5e-324, 1e300, -2.0],
    models.DecimalField: [Decimal("1.50")],
    models.JSONField: [{"a": [1, 2.0, None]}, "text", [], None],
    models.UUIDField: [UUID(int=7)],
    models.DateTimeField: [datetime(2026, 3, 1, 8, 30, 0, 123456, tzinfo=UTC)],
    models.DateField: [date(2026, 3, 1)],
    models.TimeField: [time(8, 30, 0, 1)],
    models.DurationField: [timedelta(days=-1, microseconds=5)],
    models.BinaryField: [b"\x00\xff"],
}
FIELD_OPTIONS = {models.DecimalField: {"max_digits": 8, "decimal_places": 2}}


@pytest.mark.parametrize(
    ("kind", "value"), [(kind, value) for kind, values in KINDS.items() for value in values]
)
def test_each_kind_of_column_comes_back_as_it_was(kind, value):
    line = row_line([plain(value)])
    field = kind(**FIELD_OPTIONS.get(kind, {}))
    back = json.loads(line)[0]
    assert (back if back is None else field.to_python(back)) == value


def test_every_column_of_the_product_is_of_a_kind_that_is_tested():
    kinds = {
        type(field)
        for model in tables(apps)
        for field in columns(model)
        if not isinstance(field, models.ForeignKey)
    }
    assert kinds - set(KINDS) == set()


def test_the_digest_of_rows_knows_neither_order_nor_spelling_but_every_value():
    def digest(*rows):
        made = RowDigest()
        for row in rows:
            made.add(row)
        return made.hexdigest()

    assert digest([1, {"b": 2.0, "a": -0.0}], [2]) == digest([2], [1, {"a": 0, "b": 2}])
    assert digest([1], [1]) != digest([1])
    assert digest(["1"]) != digest([1])
    assert digest([[1, 2]]) != digest([[2, 1]])
