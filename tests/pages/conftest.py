"""The demo, loaded once for all tests of this folder, behind a server that a browser asks."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.core.management import call_command
from django.db import connection
from django.test.utils import override_settings
from pytest_django.live_server_helper import LiveServer

from tests.pages.gallery import folder_begin, index_write
from tests.pages.world import World, world_make

SCREENSHOTS = Path(settings.BASE_DIR) / "build" / "screenshots"


@contextmanager
def _database(file: Path, blocker: Any) -> Iterator[None]:
    """Every thread that connects from now on finds this file, until the end of the block."""
    before = connection.settings_dict["NAME"]
    with blocker.unblock():
        connection.close()
        connection.settings_dict["NAME"] = str(file)
        try:
            yield
        finally:
            connection.close()
            connection.settings_dict["NAME"] = before


@pytest.fixture(scope="session")
def _made(
    tmp_path_factory: pytest.TempPathFactory, django_db_setup: None, django_db_blocker: Any
) -> tuple[Path, World]:
    """The world in a database of its own, which no test writes to."""
    file = tmp_path_factory.mktemp("world") / "world.sqlite3"
    with _database(file, django_db_blocker):
        call_command("migrate", verbosity=0)
        world = world_make()
    return file, world


@pytest.fixture(scope="module")
def world(
    _made: tuple[Path, World], tmp_path_factory: pytest.TempPathFactory, django_db_blocker: Any
) -> Iterator[World]:
    """The world in a copy for this module; its tests see what each other wrote."""
    made, world = _made
    file = tmp_path_factory.mktemp("world") / "copy.sqlite3"
    shutil.copy(made, file)
    with _database(file, django_db_blocker):
        yield world


@pytest.fixture(scope="module")
def server(world: World) -> Iterator[LiveServer]:
    """The installation with the world in it, over HTTP."""
    with override_settings(ALLOWED_HOSTS=["localhost", "testserver"]):
        served = LiveServer("localhost")
        yield served
        served.stop()


@pytest.fixture(scope="session")
def screenshots(testrun_uid: str) -> Iterator[Path]:
    """Where the pictures of this run go, with a page that shows them all at its end."""
    folder_begin(SCREENSHOTS, testrun_uid)
    yield SCREENSHOTS
    index_write(SCREENSHOTS)


@pytest.fixture(autouse=True)
def _on_sqlite() -> None:
    """The walk is about pages; the other database has its turn in the tests of services."""
    if connection.vendor != "sqlite":
        pytest.skip("pages are walked on SQLite")
