"""The servers that some tests need, and how their absence is told.

``python -m tests.services postgres`` prints the address of the PostgreSQL server, or says that
there is none and fails.
"""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable
from functools import cache

import psycopg
import redis

POSTGRES_URL = os.environ.get(
    "STRONGFLOOR_TEST_POSTGRES_URL", "postgres://postgres@127.0.0.1:5432/postgres"
)
REDIS_URL = os.environ.get("STRONGFLOOR_TEST_REDIS_URL", "redis://127.0.0.1:6379/0")
CHROMIUM = os.environ.get("STRONGFLOOR_TEST_CHROMIUM", "/usr/bin/chromium")
NGINX = os.environ.get("STRONGFLOOR_TEST_NGINX", "/usr/sbin/nginx")
REQUIRED = os.environ.get("STRONGFLOOR_REQUIRE_SERVICES") == "1"


@cache
def postgres_answers() -> bool:
    """Whether the PostgreSQL server takes a connection."""
    try:
        psycopg.connect(POSTGRES_URL, connect_timeout=5).close()
    except psycopg.OperationalError:
        return False
    return True


@cache
def redis_answers() -> bool:
    """Whether the Redis server answers."""
    client = redis.Redis.from_url(REDIS_URL, socket_connect_timeout=5)
    try:
        return bool(client.ping())
    except redis.ConnectionError:
        return False
    finally:
        client.close()


@cache
def chromium_is_there() -> bool:
    """Whether the browser is installed."""
    return shutil.which(CHROMIUM) is not None


@cache
def nginx_is_there() -> bool:
    """Whether the proxy and the maker of its certificate are installed."""
    return shutil.which(NGINX) is not None and shutil.which("openssl") is not None


SERVICES: dict[str, tuple[str, Callable[[], bool]]] = {
    "postgres": ("PostgreSQL", postgres_answers),
    "redis": ("Redis", redis_answers),
    "nginx": ("nginx", nginx_is_there),
    "browser": ("Chromium", chromium_is_there),
}


def missing(marker: str) -> str | None:
    """The name of the service behind a marker, when it is not there."""
    name, is_there = SERVICES[marker]
    return None if is_there() else name


def main() -> int:
    """Print the address of PostgreSQL; 1 when it does not answer."""
    if missing("postgres"):
        print(f"No PostgreSQL answers at {POSTGRES_URL}.", file=sys.stderr)
        return 1
    print(POSTGRES_URL)
    return 0


if __name__ == "__main__":
    sys.exit(main())
