"""Years of finished specimens come in: all of a workbook or nothing, once."""

from __future__ import annotations

import io
from datetime import date

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labmatrix.evidence.models import Job, LedgerEntry
from labmatrix.evidence.services.job import job_perform
from labmatrix.evidence.services.ledger import (
    ledger_head,
    ledger_verify,
)
from labmatrix.kernel.errors import NotFound, RuleBroken
from labmatrix.matrix.models import Cell
from results.models import HistoryImport, TypedResult
from results.services.history import history_receive, history_take
from specimens.domain.event import IMPORTED
from specimens.models import Event, Specimen, SpecimenState
from specimens.services.projection import specimen_project
from tests.results.history_books import (
    MODE,
    OLD,
    RESULTS,
    changed,
    sent_book,
    workbook,
)
from tests.results.scene import NOW, Scene

pytestmark = pytest.mark.django_db
Status = HistoryImport.Status


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def counts() -> tuple[int, int, int]:
    return Specimen.objects.count(), Event.objects.count(), TypedResult.objects.count()


def test_a_workbook_is_looked_at_and_then_taken_in(cast: Scene):
    source = sent_book(cast)
    assert source.status == Status.CHECKED, source.error
    assert source.summary["new"] == {"specimens": 2, "events": 6, "results": 4}
    assert counts() == (0, 0, 0)
    history_take(actor=cast.lead, source=source, now=NOW)
    history_take(actor=cast.lead, source=source, now=NOW)
    assert job_perform(job_id=source.job_id)
    source.refresh_from_db()
    assert source.status == Status.TAKEN
    assert counts() == (2, 6, 4)
    state = SpecimenState.objects.get(specimen__code="OLD-1")
    assert (state.end, state.plies, state.conflict_count) == ("broken", 2, 0)
    assert state.ended_at.isoformat().startswith("2017-09-04T")
    assert list(ledger_verify()) == []


def test_the_states_written_in_bulk_are_those_that_the_fold_gives(cast: Scene):
    sent_book(cast, take=True)

    def states():
        rows = SpecimenState.objects.order_by("pk").values()
        return list(rows)

    before = states()
    for specimen in Specimen.objects.all():
        specimen_project(specimen)
    assert states() == before


def test_the_same_workbook_again_changes_nothing(cast: Scene):
    sent_book(cast, take=True)
    head, before = ledger_head(), counts()
    again = sent_book(cast, take=True)
    assert again.status == Status.TAKEN
    assert again.summary["new"] == {"specimens": 0, "events": 0, "results": 0}
    assert again.summary["unchanged"] == {"specimens": 2, "events": 6, "results": 4}
    assert (ledger_head(), counts()) == (head, before)


def test_a_longer_workbook_adds_what_is_new(cast: Scene):
    sent_book(cast, take=True)
    longer = changed("Results", 6, ("OLD-2", "yield load", "48", "kN"))
    source = sent_book(cast, workbook(longer), take=True)
    assert source.summary["new"] == {"specimens": 0, "events": 0, "results": 1}


@pytest.mark.parametrize(
    ("sheet", "row", "cells", "code", "words"),
    [
        ("Specimens", 2, ("OLD-1", "QS", "P9", 200), "history.cell-unknown", "has no cell P9"),
        ("Specimens", 2, ("OLD-1", "ES", "P2", 200), "history.cell-unknown", "in a series ES"),
        (
            "Results",
            2,
            ("OLD-9", "peak load", 87.31, "kN"),
            "history.specimen-unknown",
            "OLD-9 is neither in the sheet Specimens nor in the programme QUAYSIDE",
        ),
        ("Events", 8, ("OLD-9", "lost", "2017-10-01", None, "x"), "history.specimen-unknown", ""),
        (
            "Events",
            8,
            ("OLD-1", "layer", "2017-10-01", None, "kind: fabric; ply: 3; lot: F-1"),
            "history.conflict",
            "cannot be true beside what else is said of OLD-1",
        ),
    ],
)
def test_one_row_that_does_not_fit_keeps_all_of_it_out(  # noqa: PLR0917
    cast, sheet, row, cells, code, words
):
    source = sent_book(cast, workbook(changed(sheet, row, cells)), take=True)
    assert source.status == Status.REFUSED
    rows = source.error["facts"]["rows"]
    assert code in {problem["code"] for problem in rows}
    assert any(words in p["message"] and p["sheet"] == sheet and p["row"] == row for p in rows)
    assert counts() == (0, 0, 0)
    assert not LedgerEntry.objects.filter(kind__in=["history", "event", "typed-result"]).exists()


def test_a_cell_takes_as_many_as_are_planned(cast: Scene):
    planned = cast.cells["P2-LAB"].replicates
    rows = [("specimen", "series", "cell")]
    rows += [(f"OLD-{n}", "QS", "P2-LAB") for n in range(planned + 1)]
    source = sent_book(cast, workbook({"Specimens": rows}))
    assert source.status == Status.REFUSED
    assert (
        f"is planned with {planned} specimens and would have {planned + 1}"
        in (source.error["message"])
    )


def test_a_changed_row_of_a_typed_result_is_refused_rather_than_doubled(cast: Scene):
    sent_book(cast, take=True)
    other = changed("Results", 2, ("OLD-1", "peak load", "90", "kN"))
    source = sent_book(cast, workbook(other), take=True)
    assert source.status == Status.REFUSED
    assert "was taken in before as 87,31 kN, and stays" in source.error["message"]


def test_a_code_on_another_label_is_refused(cast: Scene):
    there = cast.specimen("P0-LAB")
    rows = {"Specimens": [("specimen", "series", "cell"), (there.code, "QS", "P2-LAB")]}
    source = sent_book(cast, workbook(rows))
    assert "a specimen stays in its cell" in source.error["message"]


@pytest.mark.parametrize("who", ["manager", "technician", "sponsor", "stranger"])
def test_only_a_lead_of_the_programme_takes_specimens_in(cast: Scene, who):
    with pytest.raises(NotFound):
        history_receive(
            actor=getattr(cast, who),
            programme=cast.programme,
            filename="old.xlsx",
            stream=io.BytesIO(workbook()),
            now=NOW,
        )


def test_what_was_not_found_sound_is_not_taken_in(cast: Scene):
    source = sent_book(cast, b"no workbook at all", "old.xlsx")
    assert source.status == Status.REFUSED
    assert "cannot be opened" in source.error["message"]
    with pytest.raises(RuleBroken, match="cannot be taken in"):
        history_take(actor=cast.lead, source=source, now=NOW)


def test_imported_events_say_so_wherever_they_are_shown(cast: Scene):
    sent_book(cast, take=True)
    assert set(Event.objects.values_list("device", flat=True)) == {IMPORTED}
    lead = signed_in(cast.lead)
    for path in ("/specimens/OLD-1", "/specimens/OLD-1/life/"):
        assert "(imported)" in lead.get(path, follow=True).content.decode()
    rows = lead.get("/api/events/?subject=OLD-1").json()["results"]
    assert {row["origin"] for row in rows} == {"imported"}
    forged = {
        "id": "019b0000-0000-7000-8000-000000000001",
        "subject": "OLD-1",
        "kind": "note",
        "occurred_at": "2026-03-01T08:00:00Z",
        "payload": {"text": "seen"},
        "device": IMPORTED,
    }
    answer = lead.post("/api/events/", forged, content_type="application/json").json()[0]
    assert (answer["answer"], answer["error"]["code"]) == ("rejected", "event.device-reserved")


def test_the_ledger_tells_a_typed_result_that_was_changed_behind_its_back(cast: Scene):
    sent_book(cast, take=True)
    row = TypedResult.objects.first()
    body = LedgerEntry.objects.get(pk=row.entry_id)
    assert '"origin":"typed, no raw record"' in body.content.replace(": ", ":")
    assert list(ledger_verify()) == []


def test_by_page_from_the_form_to_the_specimens(cast: Scene):
    lead = signed_in(cast.lead)
    assert b"Take in finished specimens" in lead.get("/programmes/QUAYSIDE/").content
    file = SimpleUploadedFile("old.xlsx", workbook())
    answer = lead.post("/programmes/QUAYSIDE/history/", {"file": file})
    page = answer.headers["Location"]
    assert "data-progress-url" in lead.get(page).content.decode()
    assert lead.get(f"{page}state/").json()["finished"] is False
    job_perform(job_id=Job.objects.get(kind="history").pk)
    shown = lead.get(page).content.decode()
    assert "Take all of it in" in shown
    assert "OLD-1 into P2-LAB" in shown
    assert lead.post(page).status_code == 302
    job_perform(job_id=HistoryImport.objects.get().job_id)
    assert "What came in" in lead.get(page).content.decode()
    assert lead.get("/specimens/OLD-1", follow=True).status_code == 200


def test_by_api_in_one_request(cast: Scene):
    lead = signed_in(cast.lead)
    file = SimpleUploadedFile("old.xlsx", workbook())
    answer = lead.post("/api/programmes/QUAYSIDE/history/", {"file": file, "take": "yes"})
    assert answer.status_code == 202
    key = answer.json()["id"]
    job_perform(job_id=HistoryImport.objects.get(pk=key).job_id)
    told = lead.get(f"/api/imports/{key}/").json()
    assert (told["status"], told["finished"]) == ("taken", True)


def test_by_command_as_by_page(cast: Scene, tmp_path):
    path, out = tmp_path / "old.xlsx", io.StringIO()
    call_command("import-history", str(path), "--template", stdout=out)
    assert path.read_bytes().startswith(b"PK")
    path.write_bytes(workbook())
    asked = ("import-history", str(path), "--programme", "QUAYSIDE", "--as", "lead")
    call_command(*asked, stdout=out)
    assert "Nothing is wrong; it would add: 2 specimens (0 there already)" in out.getvalue()
    call_command(*asked, "--take", stdout=out)
    assert "Taken in: 2 specimens" in out.getvalue()
    path.write_bytes(workbook(changed("Results", 2, ("OLD-1", "peak load", 1, None))))
    with pytest.raises(CommandError, match="cannot be taken, so nothing was"):
        call_command(*asked, "--take", stdout=out)
    assert "Sheet Results, row 2, column unit: it is empty" in out.getvalue()


def many(cast: Scene, count: int, first: int = 0) -> bytes:
    """A workbook of finished specimens, spread over the cells."""
    cells = sorted(cast.cells)
    rows, events = [("specimen", "series", "cell")], [OLD["Events"][0]]
    results = [RESULTS]
    for n in range(first, first + count):
        code = f"OLD-{n:04d}"
        rows.append((code, "QS", cells[n % 4]))
        events.append((code, "cast", date(2015, 1, 5), None, "C-15"))
        events.append((code, "broken", date(2015, 6, 5), None, MODE))
        results.append((code, "peak load", 60 + n / 100, "kN"))
    return workbook({"Specimens": rows, "Events": events, "Results": results})


def test_ten_times_as_many_specimens_take_no_more_queries_than_their_batches_need(cast: Scene):
    Cell.objects.update(replicates=500)

    def queries(count: int, first: int) -> int:
        content = many(cast, count, first)
        with CaptureQueriesContext(connection) as seen:
            assert sent_book(cast, content, take=True).status == Status.TAKEN
        return len(seen)

    few, lots = queries(30, 0), queries(300, 30)
    assert counts() == (330, 660, 330)
    assert lots - few < 40
