"""A workbook beside what is there and what happens meanwhile: told row by row, looked at again."""

from __future__ import annotations

import pytest
from django.test import Client

from labmatrix.evidence.models import Subject
from labmatrix.evidence.services.job import LeasedRun
from labmatrix.evidence.services.ledger import ledger_append, ledger_transaction
from labmatrix.matrix.models import Membership
from results.models import HistoryImport, TypedResult
from results.services import history
from specimens.models import Event, Specimen
from tests.results.history_books import OLD, sent_book, workbook
from tests.results.scene import NOW, Scene

pytestmark = pytest.mark.django_db
Status = HistoryImport.Status


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def counts() -> tuple[int, int, int]:
    return Specimen.objects.count(), Event.objects.count(), TypedResult.objects.count()


def test_what_changed_between_the_look_and_the_writing_is_looked_at_again(cast: Scene, monkeypatch):
    """Somebody takes the code of a label while the workbook is being read."""
    run = history.HistoryHandler.run

    def slow(self, job):
        write = run(self, job)
        with ledger_transaction():
            label = Subject.objects.create(
                code="OLD-1", kind=Subject.Kind.SPECIMEN, programme_code="QUAYSIDE"
            )
            ledger_append(
                actor=str(cast.lead.id), kind="plan", subject=label.code, body={}, now=NOW
            )
        return write

    monkeypatch.setattr(history.HistoryHandler, "run", slow)
    source = sent_book(cast, take=True)
    assert source.status == Status.REFUSED
    assert "the code OLD-1 is on another label" in source.error["message"]
    assert counts() == (0, 0, 0)


def test_nobody_writes_who_lost_the_part_of_a_lead_meanwhile(cast: Scene, monkeypatch):
    run = history.HistoryHandler.run

    def slow(self, job):
        write = run(self, job)
        Membership.objects.filter(person=cast.lead).update(role="technician")
        return write

    monkeypatch.setattr(history.HistoryHandler, "run", slow)
    source = sent_book(cast, take=True)
    assert source.status == Status.REFUSED
    assert counts() == (0, 0, 0)


def test_each_row_of_an_overlapping_workbook_is_explained(cast: Scene):
    sent_book(cast, take=True)
    sheets = {name: list(rows) for name, rows in OLD.items()}
    sheets["Specimens"][1] = ("OLD-1", "QS", "P2-LAB", "210")
    sheets["Specimens"].append(("OLD-3", "QS", "P2-LAB", 200.0))
    sheets["Events"].append(("OLD-3", "cast", "2017-03-06", None, "C-18"))
    sheets["Events"].append(("OLD-1", "note", "2017-04-05", None, "text: late"))
    sheets["Events"].append(("OLD-1", "note", "2017-04-05", "10:00", "text: later"))
    source = sent_book(cast, workbook(sheets))
    assert source.status == Status.CHECKED, source.error
    told = {(row["sheet"], row["row"]): row for row in source.summary["rows"]}
    assert len(told) == sum(len(rows) - 1 for rows in sheets.values())
    differs = told["Specimens", "2"]
    assert differs["what"] == "differs"
    assert "there width_mm 201.5, here width_mm 210.0: what is there stays" in differs["words"]
    assert told["Specimens", "3"]["what"] == "there"
    assert told["Specimens", "4"] == {
        "sheet": "Specimens", "row": "4", "what": "new", "words": "OLD-3 into P2-LAB",
    }  # fmt: skip
    assert told["Events", "2"]["words"] == "OLD-1: cast, 2017-03-06, is there already"
    assert told["Results", "2"]["words"] == "OLD-1: peak load is there already as 87,31 kN"
    assert source.summary["row_counts"] == {"differs": 1, "new": 4, "there": 11}
    page = signed_in(cast.lead).get(f"/imports/{source.pk}/").content.decode()
    assert page.index("Not the same as what is there") < page.index("New, row by row")
    assert "1 row differs from what is there" in page


def test_an_event_put_right_in_the_workbook_is_told_to_come_beside_the_old_one(cast: Scene):
    note = ("OLD-1", "note", "2017-05-05", None, "text: dry")
    first = {name: list(rows) for name, rows in OLD.items()}
    first["Events"].append(note)
    sent_book(cast, workbook(first), take=True)
    first["Events"][-1] = ("OLD-1", "note", "2017-05-05", None, "text: wet")
    source = sent_book(cast, workbook(first))
    [row] = [row for row in source.summary["rows"] if row["what"] == "differs"]
    assert "another of that day is there and says something else" in row["words"]


def test_progress_is_told_while_a_workbook_is_read_planned_and_written(cast: Scene, monkeypatch):
    told = []
    report = LeasedRun.report
    monkeypatch.setattr(
        LeasedRun,
        "report",
        lambda run, part, words: (told.append((part, words)), report(run, part, words))[1],
    )
    sent_book(cast, take=True)
    assert [part for part, _ in told] == sorted(part for part, _ in told)
    words = [words for _, words in told]
    assert "12 rows are read" in words
    assert "looking at the events of 0 of 2 specimens" in words
    assert words[-1] == "writing 2 specimens, 6 events, 4 numbers"
