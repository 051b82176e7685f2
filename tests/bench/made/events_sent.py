"""Events through the product's own API, in batches and one by one; run as a process of its own.

Beside it the same events are put into a table like the product's own, without ledger, rules and
guards: what the database itself does at its best.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from typing import Any

import django
from django.db import connection, connections, transaction

from labmatrix.kernel.clock import now
from tests.bench.harness import interleaved, say
from tests.bench.made.many_lives import Raw, life_of
from tests.bench.made.served import Caller, free_port, served

EACH = 40  # events of a specimen
_TABLE = "bench_event"
# The columns, key and index of the product's own table of events.
_COLUMNS = {
    "id": "char(36) PRIMARY KEY",
    "subject_id": "bigint NOT NULL",
    "kind": "varchar(20) NOT NULL",
    "occurred_at": "varchar(40) NOT NULL",
    "received_at": "varchar(40) NOT NULL",
    "device_at": "varchar(40)",
    "device": "varchar(40) NOT NULL",
    "sequence": "bigint",
    "skew_seconds": "double precision NOT NULL",
    "payload": "text NOT NULL",
    "corrects": "char(36)",
    "actor": "varchar(36) NOT NULL",
    "entry_id": "bigint NOT NULL UNIQUE",
}


class _Specimens:
    """Specimens that nothing was logged on yet, taken in their order."""

    def __init__(self) -> None:
        models = import_module("specimens.models")
        self.left = list(models.Specimen.objects.order_by("pk").values_list("code", flat=True))
        self.count = len(self.left)

    def lives(self, specimens: int) -> list[Raw]:
        """The whole lives of the next specimens."""
        if len(self.left) < specimens:
            raise RuntimeError("the bench planned too few specimens")
        first = self.count - len(self.left)
        taken, self.left = self.left[:specimens], self.left[specimens:]
        return [e for n, code in enumerate(taken) for e in life_of(code, first + n, 0.5, EACH)]


def _bare_table() -> None:
    columns = ", ".join(f"{name} {kind}" for name, kind in _COLUMNS.items())
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TABLE {_TABLE} ({columns})")
        cursor.execute(f"CREATE INDEX {_TABLE}_subject ON {_TABLE} (subject_id, occurred_at)")


def bare_insert(rows: Sequence[tuple[Any, ...]]) -> int:
    """executemany on SQLite, COPY on PostgreSQL, in one transaction."""
    names = ", ".join(_COLUMNS)
    with transaction.atomic(), connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {_TABLE} ({names}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            places = ", ".join(["%s"] * len(_COLUMNS))
            cursor.executemany(f"INSERT INTO {_TABLE} ({names}) VALUES ({places})", rows)
    return len(rows)


def _bare_rows(specimens: int, turn: int) -> list[tuple[Any, ...]]:
    """Rows of so many lives, others in each turn."""
    first = turn * specimens
    rows: list[tuple[Any, ...]] = []
    for number in range(first, first + specimens):
        for raw in life_of(f"B-{number}", number, 0.5, EACH):
            at, payload = raw["occurred_at"], json.dumps(raw["payload"])
            entry = first * EACH + len(rows)
            said = (raw["id"], number, raw["kind"], at, at, None, "", None, 0.0)
            rows.append((*said, payload, None, raw["id"], entry))
    return rows


def _token() -> str:
    person = import_module("labmatrix.web.models").Person.objects.get(username="technician")
    issue = import_module("labmatrix.web.services.token").token_issue
    token, _ = issue(person=person, now=now())
    return str(token)


class _Sender:
    """Sends events and counts what became of them."""

    def __init__(self, caller: Caller) -> None:
        self.caller, self.stored, self.other = caller, 0, 0

    def send(self, sent: bytes) -> None:
        """One POST."""
        status, body = self.caller.call("POST", "/api/events/", sent)
        answers = [one["answer"] for one in json.loads(body)] if status == 200 else ["refused"]
        self.stored += answers.count("stored")
        self.other += len(answers) - answers.count("stored")


def _jobs(
    sender: _Sender, specimens: _Specimens, batch: int, singles: int, turns: int
) -> dict[str, Callable[[], Any]]:
    """Jobs whose events are made and written as JSON before they are timed."""
    several = [json.dumps(specimens.lives(batch)).encode() for _ in range(turns)]
    alone = [[json.dumps(e).encode() for e in specimens.lives(singles)] for _ in range(turns)]

    def batches() -> None:
        sender.send(several.pop())

    def one_by_one() -> None:
        for body in alone.pop():
            sender.send(body)

    rows = [_bare_rows(batch, turn) for turn in range(turns)]
    return {"batch": batches, "single": one_by_one, "bare": lambda: bare_insert(rows.pop())}


def main(batch: int, singles: int, repeats: int) -> None:
    """Says the seconds of each job, and whether what they left is in order."""
    django.setup()
    _bare_table()
    specimens, port = _Specimens(), free_port()
    headers = {"Authorization": f"Token {_token()}", "Content-Type": "application/json"}
    with served("labmatrix.wsgi:application", port=port):
        sender = _Sender(Caller(port, headers))
        jobs = _jobs(sender, specimens, batch, singles, repeats + 1)
        runs = interleaved(jobs, repeats=repeats, warm=True)
    connections.close_all()
    verify = import_module("labmatrix.evidence.services.ledger").ledger_verify
    asked = import_module("tests.bench.made.matrix_asked")
    say(
        {
            "seconds": runs.seconds,
            "stored": sender.stored,
            "other": sender.other,
            "kept": asked.events_kept(),
            "verified": next(iter(verify()), None) is None,
            "states_right": asked.states_right(),
        }
    )


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:4]))
