"""Several at once: on both engines one chain, every event once."""

from __future__ import annotations

import threading
from collections import Counter
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from labmatrix.evidence.models import LedgerEntry
from labmatrix.evidence.services.ledger import (
    ledger_append,
    ledger_head,
    ledger_transaction,
    ledger_verify,
)
from labmatrix.kernel.errors import RuleBroken
from specimens.models import Event, Specimen
from specimens.services.projection import specimens_fold
from specimens.services.specimen import specimen_create
from tests.specimens.scene import NOW, Scene, raw_event, scene, sound_life

pytestmark = pytest.mark.django_db(transaction=True)
WORKERS = 6


def at_once(work: Callable[[int], object], workers: int = WORKERS) -> list[Any]:
    """What each of several threads got, all started together; faults are raised here."""
    gate = threading.Barrier(workers)
    found: list[Any] = [None] * workers

    def run(number: int) -> None:
        try:
            gate.wait(timeout=30)
            found[number] = work(number)
        except Exception as error:  # noqa: BLE001 - handed to the test's own thread
            found[number] = error
        finally:
            connection.close()

    threads = [threading.Thread(target=run, args=(n,)) for n in range(workers)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=120)
    return found


@pytest.fixture
def crowd() -> Scene:
    """The standing cast, committed."""
    return scene()


def test_a_batch_sent_by_several_threads_is_admitted_once(crowd):
    specimen = crowd.specimen()
    batch = sound_life(specimen.code)
    batch += [raw_event(specimen.code, "note", n, {"text": str(n)}) for n in range(30)]
    found = at_once(lambda _: crowd.send(*batch))
    assert Event.objects.count() == len(batch)
    for place in range(len(batch)):
        told = Counter(answers[place].answer for answers in found)
        assert told == {"stored": 1, "duplicate": WORKERS - 1}
    state = crowd.state(specimen)
    assert state.folded == specimens_fold([specimen])[0][0].as_dict()
    assert list(ledger_verify()) == []


def test_events_of_one_specimen_from_many_devices_end_in_one_state(crowd):
    specimen = crowd.specimen()
    life = sound_life(specimen.code)
    parts = [life[n::WORKERS] for n in range(WORKERS)]
    found = at_once(lambda n: crowd.send(*parts[n]))
    assert all(answer.answer in ("stored", "conflict") for told in found for answer in told)
    state = crowd.state(specimen)
    assert (state.end, state.conflict_count) == ("run-out, then broken", 0)
    assert state.folded == specimens_fold([specimen])[0][0].as_dict()


def test_entries_appended_at_once_make_one_chain(crowd):
    before = ledger_head()["entries"]

    def append(number: int) -> None:
        for turn in range(15):
            with ledger_transaction():
                ledger_append(
                    actor=f"worker-{number}", kind="note", subject="S", body={"n": turn}, now=NOW
                )

    assert at_once(append) == [None] * WORKERS
    assert ledger_head()["entries"] == before + 15 * WORKERS
    assert list(ledger_verify()) == []
    told = Counter(LedgerEntry.objects.filter(kind="note").values_list("actor", flat=True))
    assert told == {f"worker-{n}": 15 for n in range(WORKERS)}


def test_a_cell_never_gets_more_specimens_than_it_plans(crowd):
    cell = crowd.cells["P0"]
    found = at_once(lambda _: specimen_create(actor=crowd.lead, cell=cell, now=NOW))
    assert Specimen.objects.filter(cell=cell).count() == cell.replicates
    made = sorted(s.code for s in found if isinstance(s, Specimen))
    assert made == [f"QS-P0-0{n}" for n in (1, 2, 3, 4)]
    refused = [error for error in found if not isinstance(error, Specimen)]
    assert all(isinstance(e, RuleBroken) and e.code == "specimen.cell-full" for e in refused)
