"""What all tests share: services that may be missing, guards that step aside, a browser."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

import psycopg
import pytest
import redis
from django.db import connection
from hypothesis import HealthCheck, settings
from psycopg import sql

from labmatrix.evidence.guards import guard_names, guards_missing, guards_present, protected_tables
from tests import services

# A loaded machine draws and runs examples slowly; that says nothing of the product.
settings.register_profile("laboratory", suppress_health_check=[HealthCheck.too_slow], deadline=None)
settings.load_profile("laboratory")
MISSING = "no {name}"
_DATABASE_FIXTURES = {"db", "transactional_db", "live_server", "django_user_model"}


def pytest_addoption(parser: pytest.Parser) -> None:
    """The second run, on the other database, takes only the tests that touch it."""
    parser.addoption(
        "--database-only", action="store_true", help="only tests that use Django's database"
    )


def _touches_database(item: pytest.Item) -> bool:
    fixtures = set(getattr(item, "fixturenames", ()))
    return item.get_closest_marker("django_db") is not None or bool(fixtures & _DATABASE_FIXTURES)


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark browser tests by their fixture; leave out what ``--database-only`` leaves out."""
    for item in items:
        if "browser" in getattr(item, "fixturenames", ()):
            item.add_marker("browser")
    if config.getoption("--database-only"):
        config.hook.pytest_deselected(items=[item for item in items if not _touches_database(item)])
        items[:] = [item for item in items if _touches_database(item)]


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Skip, or where services are required fail, a test whose service is missing."""
    for marker in services.SERVICES:
        if item.get_closest_marker(marker) is None:
            continue
        name = services.missing(marker)
        if name and services.REQUIRED:
            pytest.fail(f"{MISSING.format(name=name)}, and STRONGFLOOR_REQUIRE_SERVICES is 1")
        if name:
            pytest.skip(MISSING.format(name=name))


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Say loudly what was not tested."""
    count = Counter(
        name
        for report in terminalreporter.stats.get("skipped", ())
        for name, _ in services.SERVICES.values()
        if MISSING.format(name=name) in str(report.longrepr)
    )
    for name, tests in sorted(count.items()):
        terminalreporter.write_line(
            f"SKIPPED, because no {name}: {tests} tests", red=True, bold=True
        )


def _guards_drop() -> None:
    present = guards_present(connection)
    with connection.cursor() as cursor:
        for table in protected_tables():
            on = "" if connection.vendor == "sqlite" else f" ON {table}"
            for name in sorted(present & guard_names(connection, table)):
                cursor.execute(f"DROP TRIGGER {name}{on}")


def _is_transactional(request: pytest.FixtureRequest) -> bool:
    marker = request.node.get_closest_marker("django_db")
    named = {"transactional_db", "live_server"} & set(request.fixturenames)
    return bool(named) or (marker is not None and bool(marker.kwargs.get("transaction")))


@pytest.fixture(autouse=True)
def _guards_step_aside(request: pytest.FixtureRequest) -> Iterator[None]:
    """Let a transactional test's flush through the append-only guards.

    The guards go after the test and before its flush, which emits ``post_migrate``, which puts
    them back.
    """
    if not _is_transactional(request):
        yield
        return
    request.getfixturevalue("transactional_db")
    assert guards_missing() == []
    yield
    _guards_drop()


@pytest.fixture
def postgres_databases() -> Iterator[Callable[[], str]]:
    """Makes empty PostgreSQL databases, each by its address, that go after the test."""
    made: list[sql.Identifier] = []
    with psycopg.connect(services.POSTGRES_URL, autocommit=True) as server:

        def make() -> str:
            name = f"strongfloor_{uuid.uuid4().hex[:12]}"
            made.append(sql.Identifier(name))
            server.execute(sql.SQL("CREATE DATABASE {}").format(made[-1]))
            return f"{services.POSTGRES_URL.rpartition('/')[0]}/{name}"

        yield make
        for database in made:
            server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(database))


@pytest.fixture
def postgres_url(postgres_databases: Callable[[], str]) -> str:
    """The address of an empty PostgreSQL database that goes after the test."""
    return postgres_databases()


@pytest.fixture
def redis_broker() -> Iterator[dict[str, str]]:
    """Environment that makes Redis the broker, under a prefix that goes after the test."""
    prefix = f"strongfloor-test-{uuid.uuid4().hex[:12]}-"
    yield {"STRONGFLOOR_BROKER_URL": services.REDIS_URL, "STRONGFLOOR_BROKER_PREFIX": prefix}
    with redis.Redis.from_url(services.REDIS_URL) as client:
        for key in client.scan_iter(f"{prefix}*"):
            client.delete(key)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, Any]) -> dict[str, Any]:
    """Debian's Chromium, quiet on the network; the fixture ``page`` stands on it."""
    return {
        **browser_type_launch_args,
        "executable_path": services.CHROMIUM,
        "args": [
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
        ],
    }
