"""Rows of every table as lines of JSON, which either database engine gives and takes back."""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps.registry import Apps
from django.core.exceptions import ValidationError
from django.db import DatabaseError, connection, models
from django.utils.duration import duration_iso_string

from labmatrix.kernel.errors import RuleBroken, ShapeError

# What the framework keeps for itself: made again by migrate, or of no use elsewhere (sessions,
# counts of failed sign-ins).
LEFT_OUT = frozenset({"contenttypes", "auth", "sessions", "axes"})
_BATCH = 500
_DIGEST_MODULUS = 1 << 256

ROW_REFUSED = "Table {table}, rows {first} to {last}: the database refuses them ({reason})."
COLUMN_UNKNOWN = "Table {table} has no column {column} at the version of this back-up."

Model = type[models.Model]
Row = list[Any]


def tables(apps: Apps) -> list[Model]:
    """The models whose rows belong into a back-up, by name."""
    found = (
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.app_label not in LEFT_OUT
    )
    return sorted(found, key=lambda model: model._meta.label_lower)


def columns(model: Model) -> list[models.Field[Any, Any]]:
    """The fields that a row of this model's own table stores."""
    return [f for f in model._meta.local_concrete_fields if not getattr(f, "generated", False)]


def column_names(model: Model) -> list[str]:
    """The names of those fields, as rows are read and written."""
    return [field.attname for field in columns(model)]


def rows_read(model: Model, names: Sequence[str]) -> Iterator[Row]:
    """Every row in the order of its key, JSON-ready."""
    stored = model._base_manager.order_by("pk").values_list(*names)
    for values in stored.iterator(chunk_size=2000):
        yield [_plain(value) for value in values]


def _plain(value: Any) -> Any:
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, Decimal | UUID):
        return str(value)
    if isinstance(value, timedelta):
        return duration_iso_string(value)
    if isinstance(value, bytes | memoryview):
        return base64.b64encode(bytes(value)).decode()
    return value


def row_line(row: Sequence[Any]) -> bytes:
    """A row as one line of JSON."""
    return (
        json.dumps(row, ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode() + b"\n"
    )


class RowDigest:
    """Digest of a set of rows that does not depend on their order, nor on the engine.

    The sum of the rows' SHA-256: engines sort text differently. Whole numbers are one number
    however they are written, because PostgreSQL does not keep how JSON wrote them.
    """

    def __init__(self) -> None:
        self.count = 0
        self._sum = 0

    def add(self, row: Sequence[Any]) -> None:
        """Take one row in."""
        digest = hashlib.sha256(row_line(_one_spelling(row))).digest()
        self._sum = (self._sum + int.from_bytes(digest)) % _DIGEST_MODULUS
        self.count += 1

    def hexdigest(self) -> str:
        """64 hexadecimal digits."""
        return f"{self._sum:064x}"


def _one_spelling(value: Any) -> Any:
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, list | tuple):
        return [_one_spelling(item) for item in value]
    if isinstance(value, dict):
        return {key: _one_spelling(item) for key, item in value.items()}
    return value


def rows_digest(model: Model, names: Sequence[str]) -> RowDigest:
    """The digest of a whole table; the order of the columns is part of it."""
    digest = RowDigest()
    for row in rows_read(model, names):
        digest.add(row)
    return digest


def rows_write(model: Model, names: Sequence[str], rows: Iterable[Row]) -> int:
    """Insert rows as they are, past everything that a model does on saving; gives their number.

    Raises:
        ShapeError: ``backup.column`` for a column that the table does not have.
        RuleBroken: ``backup.row-refused`` with the rows that the database does not take.
    """
    fields = [_field(model, name) for name in names]
    quote, table = connection.ops.quote_name, model._meta.db_table
    into = ", ".join(quote(str(field.column)) for field in fields)
    places = ", ".join("%s" for _ in fields)
    statement = f"INSERT INTO {quote(table)} ({into}) VALUES ({places})"  # noqa: S608
    done = 0
    for batch in _batches(rows):
        try:
            with connection.cursor() as cursor:
                cursor.executemany(statement, [_stored(fields, row) for row in batch])
        except (DatabaseError, ValidationError, ValueError) as error:
            place = {"table": table, "first": done + 1, "last": done + len(batch)}
            reason = " ".join(str(error).split())
            raise RuleBroken(
                "backup.row-refused", ROW_REFUSED.format(**place, reason=reason), **place
            ) from error
        done += len(batch)
    return done


def _field(model: Model, attname: str) -> models.Field[Any, Any]:
    for field in columns(model):
        if field.attname == attname:
            return field
    table = model._meta.db_table
    raise ShapeError(
        "backup.column",
        COLUMN_UNKNOWN.format(table=table, column=attname),
        table=table,
        column=attname,
    )


def _stored(fields: Sequence[models.Field[Any, Any]], row: Row) -> list[Any]:
    return [
        field.get_db_prep_save(None if value is None else field.to_python(value), connection)
        for field, value in zip(fields, row, strict=True)
    ]


def _batches(rows: Iterable[Row]) -> Iterator[list[Row]]:
    batch: list[Row] = []
    for row in rows:
        batch.append(row)
        if len(batch) == _BATCH:
            yield batch
            batch = []
    if batch:
        yield batch
