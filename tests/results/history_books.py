"""Workbooks of past years, written as people write them."""

from __future__ import annotations

import io
from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime
from typing import Any

from openpyxl import Workbook
from openpyxl.utils.datetime import CALENDAR_MAC_1904

from labmatrix.evidence.services.job import job_perform
from labmatrix.matrix.models import Programme
from labmatrix.web.models import Person
from results.models import HistoryImport, TypedResult
from results.services.history import history_receive
from tests.results.scene import NOW, Scene

SPECIMENS = ("specimen", "series", "cell", "width [mm]")
EVENTS = ("specimen", "event", "date", "time", "details")
RESULTS = (
    "specimen",
    "result",
    "value",
    "unit",
    "standard uncertainty",
    "load cycle",
    "raw record",
)
MODE = "end: broken; mode scheme: bond letters; mode letter: D; mode words: slip in the mortar"
OLD: Mapping[str, Sequence[Sequence[Any]]] = {
    "Specimens": [SPECIMENS, ("OLD-1", "QS", "P2-LAB", "201,5"), ("OLD-2", "QS", "P0-LAB", 200.0)],
    "Events": [
        EVENTS,
        ("OLD-1", "cast", date(2017, 3, 6), None, "C-17"),
        ("OLD-1", "layer", "05.04.2017", None, "kind: fabric; ply: 1; lot: F-1"),
        ("OLD-1", "layer", "05.04.2017", None, "kind: fabric; ply: 2; lot: F-1"),
        ("OLD-1", "Broken", datetime(2017, 9, 4, 14, 30), None, MODE),
        ("OLD-2", "cast", "2017-03-06", None, "batch: C-17"),
        ("OLD-2", "broken", "2017-09-05", "09:15", MODE),
    ],
    "Results": [
        RESULTS,
        ("OLD-1", "peak load", "87,31", "kN", "0,6", None, "old-1.csv"),
        ("OLD-1", "peak_deflection", 2.1, "cm", None, None, None),
        ("OLD-2", "Peak load", 61200, "N", None, None, None),
        ("OLD-1", "secant stiffness", 11.2, "kN/mm", None, 1000, None),
    ],
}


def workbook(
    sheets: Mapping[str, Sequence[Sequence[Any]]] = OLD,
    *,
    change: Callable[[Workbook], None] | None = None,
    is_1904: bool = False,
) -> bytes:
    """The bytes of an .xlsx with these rows; ``change`` may spoil it before it is saved."""
    book = Workbook()
    if is_1904:
        book.epoch = CALENDAR_MAC_1904
    book.remove(book.active)
    for name, rows in sheets.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(list(row))
    if change is not None:
        change(book)
    sink = io.BytesIO()
    book.save(sink)
    return sink.getvalue()


def changed(sheet: str, row: int, cells: Sequence[Any]) -> dict[str, list[Sequence[Any]]]:
    """The same workbook with one row (from 1, the header) put in another's place or added."""
    sheets = {name: list(rows) for name, rows in OLD.items()}
    rows = sheets[sheet]
    rows[row - 1 : row] = [cells]
    return sheets


def imported_number(actor: Person, programme: Programme, code: str) -> TypedResult:
    """A number of a specimen that is there, taken in from a workbook of its own."""
    row = (code, "peak deflection", 21.5, "mm", "0,4", None, None, "dial gauge")
    rows = [(*RESULTS, "method"), row]
    source = history_receive(
        actor=actor,
        programme=programme,
        filename="numbers.xlsx",
        stream=io.BytesIO(workbook({"Results": rows})),
        take=True,
        now=NOW,
    )
    assert source.job_id is not None
    job_perform(job_id=source.job_id)
    return TypedResult.objects.get(subject__code=code, name="peak_deflection")


def sent_book(
    cast: Scene, content: bytes | None = None, name: str = "old.xlsx", *, take: bool = False
) -> HistoryImport:
    """A workbook through the service, looked at (and with ``take`` taken in) at once."""
    source = history_receive(
        actor=cast.lead,
        programme=cast.programme,
        filename=name,
        stream=io.BytesIO(workbook() if content is None else content),
        take=take,
        now=NOW,
    )
    assert source.job_id is not None
    job_perform(job_id=source.job_id)
    source.refresh_from_db()
    return source
