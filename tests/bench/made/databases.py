"""The databases that a bench of the web measures on: SQLite, and PostgreSQL where one answers."""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

import psycopg
from psycopg import sql

from tests.services import POSTGRES_URL, postgres_answers

SQLITE, POSTGRES = "SQLite", "PostgreSQL"


def databases() -> list[str]:
    """Names of those that are there."""
    return [SQLITE, *([POSTGRES] if postgres_answers() else [])]


@contextmanager
def database(name: str) -> Iterator[str]:
    """The address of an empty database, gone at the end; empty text for SQLite in the home."""
    if name == SQLITE:
        yield ""
        return
    own = f"strongfloor_bench_{uuid.uuid4().hex[:10]}"
    with psycopg.connect(POSTGRES_URL, autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(own)))
    try:
        yield urlsplit(POSTGRES_URL)._replace(path=f"/{own}").geturl()
    finally:
        with psycopg.connect(POSTGRES_URL, autocommit=True) as server:
            server.execute(
                sql.SQL("DROP DATABASE IF EXISTS {} WITH (FORCE)").format(sql.Identifier(own))
            )
