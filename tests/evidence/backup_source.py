"""Fills an installation by its own services; run as ``python -m tests.evidence.backup_source``.

With ``--keep-writing`` it goes on appending, a file and a ledger entry at a time, until ended.
"""

from __future__ import annotations

import io
import itertools
import sys
from typing import Any

import django

django.setup()

from labmatrix.evidence.models import (  # noqa: E402
    ChannelMapSaved,
    Job,
    Record,
    RecordFile,
    Subject,
)
from labmatrix.evidence.services.blob import blob_put  # noqa: E402
from labmatrix.evidence.services.job import job_submit  # noqa: E402
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction  # noqa: E402
from labmatrix.kernel.clock import now  # noqa: E402
from labmatrix.web.domain.roles import Role  # noqa: E402
from labmatrix.web.services.laboratory import laboratory_setup, person_add  # noqa: E402
from labmatrix.web.services.token import token_issue  # noqa: E402

# What one engine might store otherwise than the other.
AWKWARD: dict[str, Any] = {
    "z first": 2.0,
    "whole": 2,
    "large": 1e16,
    "exact": 2**53 + 1,
    "small": 5e-324,
    "third": 1 / 3,
    "zero": -0.0,
    "text": 'ε ≤ 0.012 · "quoted" \\ back\nslash 🧱',
    "nothing": None,
    "yes": True,
    "list": [1, [2.5, {"b": 1, "a": 2}], ""],
}


def append(number: int) -> None:
    """One file and one entry that names it."""
    blob = blob_put(stream=io.BytesIO(b"\x00\xff%d\r\n" % number * (number + 1)), now=now())
    with ledger_transaction():
        ledger_append(
            actor="suite", kind="note", subject="QB-1", body={"blob": blob.sha256}, now=now()
        )


def fill() -> None:
    """Some of everything that this room and the one below keep."""
    laboratory_setup(name="Test Structures Laboratory", time_zone="Europe/Lisbon")
    lead = person_add(username="lead", password="forty-two heavy girders", role=Role.LEAD)
    token_issue(person=lead, now=now())
    subject = Subject.objects.create(code="QB-1", kind=Subject.Kind.SPECIMEN, programme_code="Q")
    ChannelMapSaved.objects.create(name="frame", version=1, entries=[AWKWARD], saved_at=now())
    record = Record.objects.create(
        subject=subject,
        test="break",
        channel_map=[AWKWARD],
        settings=AWKWARD,
        received_at=now(),
        received_by=str(lead.id),
    )
    for position, content in enumerate((b"", b"time;load\n0;0,5\n", bytes(range(256)) * 9000)):
        blob = blob_put(stream=io.BytesIO(content), now=now())
        RecordFile.objects.create(record=record, blob=blob, position=position, name="messung.csv")
    job_submit(kind="none", key="waiting", payload=AWKWARD, now=now(), queue=Job.Queue.LONG)
    for number in range(40):
        append(number)


def main() -> None:
    """Fill once, or write on and on."""
    if "--keep-writing" in sys.argv:
        for number in itertools.count(1000):
            append(number % 1500)
            print(number, flush=True)
    fill()


if __name__ == "__main__":
    main()
