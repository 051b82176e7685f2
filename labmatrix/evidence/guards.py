"""The database itself refuses to change or remove facts, on both engines.

Triggers are put in place after every migrate, because SQLite's table rebuild drops them without
a word, and their presence is a system check. They make the ledger tamper-evident, not
tamper-proof: an owner of the database can drop them, which is why the chain's head is lodged
outside.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import DatabaseError, connections
from django.db.backends.base.base import BaseDatabaseWrapper

LEDGER_TABLE = "evidence_ledgerentry"
_protected: list[str] = [LEDGER_TABLE]
ZERO_HASH = "0" * 64


def protect(table: str) -> None:
    """Add a table whose rows are facts; called from an app's ``ready``."""
    if table not in _protected:
        _protected.append(table)


def protected_tables() -> tuple[str, ...]:
    """The tables that only ever grow."""
    return tuple(_protected)


def _sqlite_statements(table: str) -> dict[str, str]:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
    statements = {
        f"{table}_no_update": f"BEFORE UPDATE ON {table} {refuse}",
        f"{table}_no_delete": f"BEFORE DELETE ON {table} {refuse}",
    }
    if table == LEDGER_TABLE:
        statements[f"{table}_chain"] = (
            f"BEFORE INSERT ON {table} WHEN "
            f"NEW.seq <> COALESCE((SELECT MAX(seq) FROM {table}), 0) + 1 OR NEW.previous_hash <> "
            f"COALESCE((SELECT entry_hash FROM {table} ORDER BY seq DESC LIMIT 1), '{ZERO_HASH}') "
            "BEGIN SELECT RAISE(ABORT, 'the entry does not continue the chain'); END"
        )
    else:
        # REPLACE deletes without firing a delete trigger; refuse a key that is there.
        statements[f"{table}_no_replace"] = (
            f"BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM {table} WHERE id = NEW.id) "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )
    return {name: f"CREATE TRIGGER {name} {body}" for name, body in statements.items()}


_PG_FUNCTIONS = f"""
CREATE OR REPLACE FUNCTION strongfloor_refuse() RETURNS trigger LANGUAGE plpgsql AS $body$
BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
END $body$;
CREATE OR REPLACE FUNCTION strongfloor_chain() RETURNS trigger LANGUAGE plpgsql AS $body$
DECLARE last record;
BEGIN
  SELECT seq, entry_hash INTO last FROM {LEDGER_TABLE} ORDER BY seq DESC LIMIT 1;
  IF NEW.seq <> COALESCE(last.seq, 0) + 1
     OR NEW.previous_hash <> COALESCE(last.entry_hash, '{ZERO_HASH}')
     OR NEW.entry_hash <> encode(sha256(convert_to(
        NEW.previous_hash || chr(10) || NEW.content, 'UTF8')), 'hex') THEN
    RAISE EXCEPTION 'the entry does not continue the chain'
      USING ERRCODE = 'restrict_violation';
  END IF;
  RETURN NEW;
END $body$;
"""


def _pg_statements(table: str) -> dict[str, str]:
    statements = {
        f"{table}_no_change": (
            f"BEFORE UPDATE OR DELETE ON {table} FOR EACH ROW EXECUTE FUNCTION strongfloor_refuse()"
        ),
        f"{table}_no_truncate": (
            f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT EXECUTE FUNCTION strongfloor_refuse()"
        ),
    }
    if table == LEDGER_TABLE:
        statements[f"{table}_chain"] = (
            f"BEFORE INSERT ON {table} FOR EACH ROW EXECUTE FUNCTION strongfloor_chain()"
        )
    return {name: f"CREATE TRIGGER {name} {body}" for name, body in statements.items()}


def _statements(connection: BaseDatabaseWrapper, table: str) -> dict[str, str]:
    return (_sqlite_statements if connection.vendor == "sqlite" else _pg_statements)(table)


def guard_names(connection: BaseDatabaseWrapper, table: str) -> set[str]:
    """Names of the guard triggers of a table; that of another may begin alike."""
    return set(_statements(connection, table))


def guards_present(connection: BaseDatabaseWrapper) -> set[str]:
    """Names of the guard triggers that the database has and has enabled."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        else:
            cursor.execute(
                "SELECT tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
                "JOIN pg_namespace n ON n.oid = c.relnamespace "
                "WHERE NOT tgisinternal AND tgenabled <> 'D' AND n.nspname = current_schema()"
            )
        return {name for (name,) in cursor.fetchall()}


def guards_install(using: str = "default") -> None:
    """Put every guard in place whose table exists; leaves those that are there."""
    connection = connections[using]
    tables = set(connection.introspection.table_names())
    present = guards_present(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql" and LEDGER_TABLE in tables:
            cursor.execute(_PG_FUNCTIONS)
        for table in _protected:
            if table not in tables:
                continue
            for name, statement in _statements(connection, table).items():
                if name not in present:
                    cursor.execute(statement)


def guards_missing(using: str = "default") -> list[str]:
    """Names of guards that should be there and are not; a table to be migrated yet needs none."""
    connection = connections[using]
    tables = set(_protected) & set(connection.introspection.table_names())
    wanted = {name for table in tables for name in _statements(connection, table)}
    return sorted(wanted - guards_present(connection))


def after_migrate(using: str = "default", **kwargs: Any) -> None:
    """Django's ``post_migrate`` hook."""
    guards_install(using)


@register(Tags.database)
def guards_are_in_place(
    databases: Sequence[str] | None = None, **kwargs: Any
) -> Sequence[CheckMessage]:
    """The guards are there on every database that is checked."""
    found: list[CheckMessage] = []
    for using in databases or ():
        try:
            if LEDGER_TABLE not in connections[using].introspection.table_names():
                continue  # not migrated yet
            missing = guards_missing(using)
        except DatabaseError as error:
            found.append(
                Error(f"The database {using} cannot be read: {error}", id="strongfloor.E010")
            )
            continue
        if missing:
            found.append(
                Error(
                    f"The ledger of the database {using} is not guarded: {', '.join(missing)}.",
                    hint="Run manage.py migrate --skip-checks, which puts the triggers back, then "
                    "verify-ledger.",
                    id="strongfloor.E011",
                )
            )
    return found
