"""Insert many rows that are complete: one statement, prepared once, for thousands of them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connections, models
from django.db.backends.base.base import BaseDatabaseWrapper

_COPY_FROM = 50  # fewer rows than these are not worth a COPY


def rows_insert(rows: Sequence[models.Model]) -> None:
    """Insert rows of one model that need nothing back from the database, in their order.

    The object-relational ``bulk_create`` writes the text of every batch anew and asks each value
    how it is written; years of specimens spend most of their time on that. Defaults of the fields,
    constraints and the triggers that guard facts count here as they do there. A key that the
    database counts up is not put on the rows.

    Args:
        rows: not saved yet, all of one model.
    """
    if not rows:
        return
    meta = rows[0]._meta
    counted = meta.auto_field if all(row.pk is None for row in rows) else None
    fields = [field for field in meta.concrete_fields if field is not counted]
    link = connections[DEFAULT_DB_ALIAS]
    quoted = link.ops.quote_name
    columns = ", ".join(quoted(str(field.column)) for field in fields)
    marks = ", ".join(["%s"] * len(fields))
    writers = [_writer(field, link) for field in fields]
    table, values = quoted(meta.db_table), list(_values(rows, writers))
    with link.cursor() as cursor:
        if link.vendor == "postgresql" and len(rows) >= _COPY_FROM:
            with (
                link.wrap_database_errors,
                cursor.copy(f"COPY {table} ({columns}) FROM STDIN") as to,
            ):
                for row_values in values:
                    to.write_row(row_values)
        else:
            insert = f"INSERT INTO {table} ({columns}) VALUES ({marks})"  # noqa: S608
            cursor.executemany(insert, values)
    for row in rows:
        row._state.adding, row._state.db = False, DEFAULT_DB_ALIAS


# What such a field makes of such a value is the value itself, so nobody is asked.
_AS_IT_IS: Mapping[type, type] = {
    models.CharField: str,
    models.TextField: str,
    models.IntegerField: int,
    models.BigIntegerField: int,
    models.PositiveIntegerField: int,
    models.PositiveSmallIntegerField: int,
    models.FloatField: float,
}


def _writer(
    field: models.Field[Any, Any], link: BaseDatabaseWrapper
) -> Callable[[models.Model], Any]:
    plain = _AS_IT_IS.get(type(field))
    if plain is None:
        return partial(_written, field, link)
    name = field.attname

    def write(row: models.Model) -> Any:
        value = getattr(row, name)
        return value if type(value) is plain else _written(field, link, row)

    return write


def _written(field: models.Field[Any, Any], link: BaseDatabaseWrapper, row: models.Model) -> Any:
    return field.get_db_prep_save(field.pre_save(row, True), link)


def _values(
    rows: Sequence[models.Model], writers: Sequence[Callable[[models.Model], Any]]
) -> Iterator[tuple[Any, ...]]:
    for row in rows:
        yield tuple(write(row) for write in writers)
