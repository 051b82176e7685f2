"""The ledger and the events: the database refuses to change them, and a change is located."""

from __future__ import annotations

from typing import Any

import pytest
from django.core.checks import run_checks
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from labmatrix.evidence import guards
from labmatrix.evidence.guards import (
    guard_names,
    guards_are_in_place,
    guards_install,
    guards_missing,
    guards_present,
    protected_tables,
)
from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import ledger_verify
from specimens.models import Event
from tests.specimens.scene import Scene, sound_life

pytestmark = pytest.mark.django_db
LEDGER, EVENTS = "evidence_ledgerentry", "specimens_event"
SQLITE = connection.vendor == "sqlite"


@pytest.fixture
def life(cast: Scene) -> Scene:
    """A ledger with the plan's entry of one specimen and its twelve events."""
    cast.send(*sound_life(cast.specimen().code))
    return cast


def run(statement: str, parameters: tuple[Any, ...] = ()) -> int:
    """Raw SQL, past every model; the number of rows that it changed."""
    with connection.cursor() as cursor:
        cursor.execute(statement, parameters)
        return int(cursor.rowcount)


def drop_guards() -> None:
    """As an owner of the database could."""
    for table in protected_tables():
        for name in sorted(guards_present(connection) & guard_names(connection, table)):
            run(f"DROP TRIGGER {name}" + ("" if SQLITE else f" ON {table}"))


def columns(table: str) -> str:
    model = LedgerEntry if table == LEDGER else Event
    return ", ".join(str(field.column) for field in model._meta.concrete_fields)


def refused(statement: str) -> str:
    """What the database says against a statement."""
    with pytest.raises(DatabaseError) as error, transaction.atomic():
        run(statement)
    return str(error.value)


@pytest.mark.parametrize("table", [LEDGER, EVENTS])
def test_refuses_update_and_delete(life, table):
    assert table in protected_tables()
    rows = run(f"SELECT * FROM {table}")
    assert f"{table} is append-only" in refused(f"UPDATE {table} SET actor = actor")
    assert f"{table} is append-only" in refused(f"UPDATE {table} SET actor = '' WHERE actor <> ''")
    assert f"{table} is append-only" in refused(f"DELETE FROM {table}")
    assert run(f"SELECT * FROM {table}") == rows


@pytest.mark.parametrize("table", [LEDGER, EVENTS])
def test_refuses_to_be_emptied_at_a_stroke(life, table):
    if SQLITE:
        pytest.skip("SQLite has no TRUNCATE; DELETE without a condition is refused above")
    run("SET CONSTRAINTS ALL IMMEDIATE")  # what is still to be checked would refuse it first
    assert "append-only" in refused(f"TRUNCATE {table} CASCADE")


@pytest.mark.parametrize("table", [LEDGER, EVENTS])
def test_refuses_to_write_over_a_row_that_is_there(life, table):
    key = "seq" if table == LEDGER else "id"
    names = columns(table)
    same = f"SELECT {names} FROM {table} ORDER BY {key} LIMIT 1"
    where = "WHERE true " if SQLITE else ""
    said = refused(
        f"INSERT INTO {table} ({names}) SELECT {names} FROM ({same}) AS t {where}"
        f"ON CONFLICT ({key}) DO UPDATE SET actor = 'someone else'"
    )
    assert "append-only" in said or "continue the chain" in said
    if SQLITE:
        said = refused(f"INSERT OR REPLACE INTO {table} ({names}) {same}")
        assert "append-only" in said or "continue the chain" in said


def test_refuses_an_entry_that_does_not_continue_the_chain(life):
    names = columns(LEDGER)
    gap = names.replace("seq", "seq + 100", 1)
    assert "continue the chain" in refused(
        f"INSERT INTO {LEDGER} ({names}) SELECT {gap} FROM {LEDGER} WHERE seq = 1"
    )


def test_guards_come_back_after_a_migrate_and_a_check_says_when_they_are_gone(life):
    assert guards_missing() == []
    drop_guards()
    said = [m.id for m in run_checks(tags=["database"], databases=["default"])]
    assert "strongfloor.E011" in said
    missing = guards_missing()
    assert f"{EVENTS}_no_update" in missing or f"{EVENTS}_no_change" in missing
    call_command("migrate", verbosity=0)
    assert guards_missing() == []
    assert guards_are_in_place(databases=["default"]) == []
    assert "append-only" in refused(f"DELETE FROM {LEDGER}")


def test_one_lost_guard_is_named(life):
    name = f"{EVENTS}_no_{'delete' if SQLITE else 'truncate'}"
    run(f"DROP TRIGGER {name}" + ("" if SQLITE else f" ON {EVENTS}"))
    [message] = guards_are_in_place(databases=["default"])
    assert name in message.msg
    assert "migrate" in (message.hint or "")
    guards_install()
    assert guards_missing() == []


def test_a_table_that_is_still_to_be_migrated_does_not_keep_migrate_from_running(life, monkeypatch):
    monkeypatch.setattr(guards, "_protected", [*protected_tables(), "results_of_tomorrow"])
    assert guards_are_in_place(databases=["default"]) == []


def findings() -> list[tuple[int, str]]:
    return [(found.seq, found.where) for found in ledger_verify()]


def of_kind(kind: str) -> Event:
    return Event.objects.filter(kind=kind).order_by("entry_id")[0]


def test_a_whole_ledger_has_no_finding(life):
    assert findings() == []


def test_locates_one_changed_byte_of_an_entrys_text(life):
    event = of_kind("layer")
    drop_guards()
    content = event.entry.content
    changed = content.replace('"F-1"', '"F-2"')
    assert (len(changed), changed != content) == (len(content), True)
    run(f"UPDATE {LEDGER} SET content = %s WHERE seq = %s", (changed, event.entry_id))
    assert findings() == [(event.entry_id, "content"), (event.entry_id, f"event {event.pk}")]


def test_locates_one_changed_byte_of_an_events_row(life):
    event = of_kind("cast")
    drop_guards()
    run(f"UPDATE {EVENTS} SET payload = %s WHERE entry_id = %s", ('{"batch": "C-09"}',
        event.entry_id))  # fmt: skip
    [found] = ledger_verify()
    assert (found.seq, found.where) == (event.entry_id, f"event {event.pk}")
    assert "C-09" in found.words
    assert "from byte " in found.words


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("actor", "another"),
        ("kind", "note"),
        ("subject", "QS-P2-09"),
        ("previous_hash", "f" * 64),
        ("recorded_at", "2020-01-01 00:00:00+00:00"),
    ],
)
def test_locates_a_changed_column(life, column, value):
    seq = of_kind("loaded").entry_id
    drop_guards()
    run(f"UPDATE {LEDGER} SET {column} = %s WHERE seq = %s", (value, seq))
    assert (seq, column) in findings()
    assert {place for place, _ in findings()} <= {seq, seq + 1}


def test_a_row_that_was_made_to_agree_with_its_entry_still_breaks_the_hash(life):
    event = of_kind("cast")
    drop_guards()
    run(f"UPDATE {EVENTS} SET payload = %s WHERE entry_id = %s", ('{"batch": "C-09"}',
        event.entry_id))  # fmt: skip
    changed = event.entry.content.replace('"C-01"', '"C-09"')
    run(f"UPDATE {LEDGER} SET content = %s WHERE seq = %s", (changed, event.entry_id))
    assert findings() == [(event.entry_id, "content")]


def test_locates_an_entry_that_is_gone(life):
    plan = LedgerEntry.objects.filter(kind="plan").order_by("seq")[0]
    drop_guards()
    run(f"DELETE FROM {LEDGER} WHERE seq = %s", (plan.seq,))
    assert findings()[0] == (plan.seq, "seq")


def test_locates_an_event_whose_row_is_gone(life):
    event = of_kind("left")
    drop_guards()
    run(f"DELETE FROM {EVENTS} WHERE entry_id = %s", (event.entry_id,))
    assert findings() == [(event.entry_id, "event")]
