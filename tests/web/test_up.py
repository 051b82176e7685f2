"""``manage.py up``: all parts together, ended together, none left behind."""

from __future__ import annotations

import os
import shutil
import signal
import socket
import sqlite3

import pytest

from tests.installation import Installation, wait_for


@pytest.fixture(scope="module")
def migrated_home(tmp_path_factory):
    home = tmp_path_factory.mktemp("migrated")
    Installation(home).migrate()
    return home


@pytest.fixture
def empty(tmp_path):
    made = Installation(tmp_path / "home")
    yield made
    made.end()


@pytest.fixture
def ready(tmp_path, migrated_home):
    made = Installation(tmp_path / "home")
    shutil.copytree(migrated_home, made.home)
    yield made
    made.end()


def assert_nothing_is_left(installation):
    wait_for(lambda: not installation.processes(), f"none of {installation.processes()} is left")


def test_refuses_a_database_without_tables(empty):
    done = empty.manage("up")
    assert done.returncode == 1
    assert "run manage.py migrate" in done.stderr
    assert empty.get("/health/") == 0


def test_refuses_a_database_that_is_away(empty):
    done = empty.manage("up", STRONGFLOOR_DATABASE_URL="postgres://nobody@127.0.0.1:1/none")
    assert done.returncode == 1
    assert "The database cannot be reached" in done.stderr


def test_refuses_the_demo_key_beyond_loopback(ready):
    done = ready.manage("up", STRONGFLOOR_BIND="0.0.0.0")
    assert done.returncode == 1
    assert "strongfloor.E001" in done.stderr


def test_refuses_the_demo_people_beyond_loopback(ready):
    with sqlite3.connect(ready.home / "strongfloor.sqlite3") as database:
        database.execute(
            "INSERT INTO web_person (id, password, username, display_name, email, laboratory_role,"
            " is_active, is_demo, joined_at) VALUES ('0f', '!', 'lead', '', '', 'lead', 1, 1,"
            " '2026-01-01')"
        )
    done = ready.manage("up", STRONGFLOOR_BIND="0.0.0.0", STRONGFLOOR_SECRET_KEY="k" * 50)
    assert done.returncode == 1
    assert "strongfloor.E002" in done.stderr


def test_refuses_unguarded_facts(ready):
    with sqlite3.connect(ready.home / "strongfloor.sqlite3") as database:
        database.execute("DROP TRIGGER evidence_ledgerentry_no_delete")
    done = ready.manage("up")
    assert done.returncode == 1
    assert "evidence_ledgerentry_no_delete" in done.stderr


def test_says_that_the_port_is_taken(ready):
    with socket.socket() as other:
        other.bind(("127.0.0.1", ready.port))
        other.listen()
        done = ready.manage("up")
    assert done.returncode == 1
    assert f"127.0.0.1:{ready.port} is taken" in done.stderr


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_serves_until_asked_to_stop_and_leaves_nothing(ready, number):
    up = ready.up()
    assert f"Strongfloor is at http://127.0.0.1:{ready.port}/" in ready.said()
    assert ready.get("/ready/") == 200
    assert len(ready.pids("celery")) == 2
    assert len(ready.pids("manage.py sweep")) == 1
    up.send_signal(number)
    assert up.wait(timeout=40) == 0, ready.said()
    assert_nothing_is_left(ready)


@pytest.mark.parametrize("part", ["--queues short", "--queues long", "sweep", "gunicorn"])
def test_ends_as_one_when_a_part_is_killed(ready, part):
    up = ready.up()
    os.kill(ready.pids(part)[0], signal.SIGKILL)
    assert up.wait(timeout=40) == 1
    assert "ended by itself" in ready.said()
    assert_nothing_is_left(ready)


def test_leaves_nothing_when_it_is_killed_itself(ready):
    ready.up().kill()
    assert_nothing_is_left(ready)


def test_serves_only_after_the_first_command_succeeded(ready):
    ready.up("--before-web", "check")
    said = ready.said()
    assert said.index("System check identified no issues") < said.index("Strongfloor is at")


def test_does_not_serve_when_the_first_command_fails(ready):
    done = ready.manage("up", "--before-web", "no-such-command")
    assert done.returncode == 1
    assert "The command no-such-command failed" in done.stdout
    assert "Strongfloor is at" not in done.stdout
    assert_nothing_is_left(ready)


def test_runs_without_the_web_server(ready):
    up = ready.up("--without-web")
    wait_for(lambda: len(ready.pids("celery")) == 2, "two workers run")
    assert ready.pids("gunicorn") == []
    up.terminate()
    assert up.wait(timeout=40) == 0
    assert_nothing_is_left(ready)
