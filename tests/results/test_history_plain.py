"""What a workbook of past years says, without a database."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime, time
from io import BytesIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook

from results.domain.history.book import book_read
from results.domain.history.cells import day_of, number_of, quantity_of, time_of
from results.domain.history.details import KINDS, details_help, payload_of
from results.domain.history.places import CellWrong
from results.domain.history.rows import History, history_of
from results.domain.history.twins import twins_said
from results.history_template import template_workbook
from tests.results.history_books import EVENTS, MODE, OLD, RESULTS, SPECIMENS, changed, workbook


def read(content: bytes, name: str = "old.xlsx") -> History:
    history = history_of(book_read(name, content), zone="Europe/Lisbon")
    twins_said(history)
    return history


def sentences(content: bytes, name: str = "old.xlsx") -> list[str]:
    return [problem.sentence for problem in sorted(read(content, name).problems)]


def test_a_sound_workbook_gives_specimens_events_and_results_in_base_units():
    history = read(workbook())
    assert history.problems == []
    first = history.specimens[0]
    assert (first.code, first.series, first.cell) == ("OLD-1", "QS", "P2-LAB")
    assert first.measured == {"width_mm": 201.5}
    cast, one, two, end = history.events[:4]
    # A day alone is noon in the laboratory, each further row of the day a minute later.
    assert cast.occurred_at == datetime(2017, 3, 6, 12, tzinfo=UTC)
    assert one.occurred_at == datetime(2017, 4, 5, 11, tzinfo=UTC)
    assert (two.occurred_at - one.occurred_at).total_seconds() == 60
    assert end.occurred_at == datetime(2017, 9, 4, 13, 30, tzinfo=UTC)
    assert end.payload["mode"]["letter"] == "D"
    peak, deflection, other, stiffness = history.results
    assert (peak.value, peak.unit, peak.u, peak.said) == (87.31, "kN", 0.6, "87,31 kN")
    assert deflection.value == pytest.approx(21.0, rel=1e-12)
    assert other.value == pytest.approx(61.2, rel=1e-12)
    assert (stiffness.at, peak.raw_record) == (1000, "old-1.csv")


def test_the_1904_date_system_gives_the_same_days():
    def events(content: bytes) -> list[datetime]:
        return [event.occurred_at for event in read(content).events]

    assert events(workbook(is_1904=True)) == events(workbook())


def test_the_same_rows_as_csv_with_semicolons_and_decimal_commas():
    rows = [SPECIMENS, ("OLD-1", "QS", "P2-LAB", "201,5")]
    content = "\n".join(";".join(row) for row in rows).encode("cp1252")
    assert read(content, "old.csv").specimens[0].measured == {"width_mm": 201.5}
    rows = [EVENTS, ("OLD-1", "cast", "06.03.2017", "", "C-17")]
    content = "\n".join(";".join(row) for row in rows).encode()
    assert [event.kind for event in read(content, "old.csv").events] == ["cast"]


def test_an_events_id_follows_from_what_was_written():
    one, other = (read(workbook()) for _ in range(2))
    assert [e.id for e in one.events] == [e.id for e in other.events]
    moved = read(workbook(changed("Events", 2, ("OLD-1", "cast", date(2017, 3, 7), None, "C-17"))))
    assert {e.id for e in moved.events} - {e.id for e in one.events} == {moved.events[0].id}


def _formula(book):
    book["Results"]["C2"] = "=80+7.31"


def _merged(book):
    book["Events"].merge_cells("A2:A4")


def _error(book):
    book["Results"]["C2"].value = "#DIV/0!"
    book["Results"]["C2"].data_type = "e"


@pytest.mark.parametrize(
    ("change", "place", "words"),
    [
        (_formula, "Sheet Results, row 2, column value", "'=80+7.31'; only what was measured"),
        (_merged, "Sheet Events, row 2", "the cells A2:A4 are merged"),
        (_error, "Sheet Results, row 2, column value", "the error #DIV/0!"),
    ],
)
def test_what_a_workbook_hides_is_a_sentence_at_its_cell(change, place, words):
    found = sentences(workbook(change=change))
    assert any(line.startswith(place) and words in line for line in found), found


@pytest.mark.parametrize(
    ("sheet", "row", "cells", "place", "words"),
    [
        ("Events", 2, ("OLD-1", "cast", 42800, None, "C-17"), "row 2, column date", "bare number"),
        ("Events", 2, ("OLD-1", "cast", "3/6/2017", None, "C"), "column date", "told apart"),
        ("Events", 2, ("OLD-1", "cast", "31.02.2017", None, "C"), "column date", "2019-03-05"),
        ("Events", 2, ("OLD-1", "cast", "0017-03-06", None, "C"), "column date", "1900 to 2199"),
        ("Events", 2, ("OLD-1", "cast", None, None, "C"), "row 2, column date", "it is empty"),
        ("Events", 2, ("OLD-1", "cast", "2017-03-06", "noon", "C"), "column time", "14:30"),
        ("Events", 2, ("OLD-1", "poured", "2017-03-06", None, "C"), "column event", "known are"),
        ("Events", 2, ("OLD-1", "judged", "2017-03-06", None, ""), "column event", "known are"),
        ("Events", 2, ("OLD-1", "cast", "2017-03-06", None, ""), "column details", "batch"),
        ("Events", 2, ("OLD-1", "cast", "2017-03-06", None, "lot: 3"), "details", "no detail of"),
        (
            "Events",
            2,
            ("OLD-1", "loaded", "2017-03-06", None, "load: 8,5; reference: control"),
            "column details",
            "without a unit; write it with one, such as 12.5 kN",
        ),
        (
            "Events",
            2,
            ("OLD-1", "loaded", "2017-03-06", None, "load: 8,5 mm; reference: control"),
            "column details",
            "measures length",
        ),
        ("Events", 3, OLD["Events"][1], "Sheet Events, row 3", "the same as row 2"),
        ("Specimens", 3, OLD["Specimens"][1], "row 3, column specimen", "in row 2 already"),
        ("Specimens", 2, ("old 1", "QS", "P2-LAB", 200), "column specimen", "capital letters"),
        ("Specimens", 2, ("=CMD", "QS", "P2-LAB", 200), "row 2, column specimen", "formula"),
        ("Results", 2, ("OLD-1", "peak load", 87.31, None), "row 2, column unit", "it is empty"),
        ("Results", 2, ("OLD-1", "peak load", 87.31, "kilo"), "column unit", "is not known"),
        ("Results", 2, ("OLD-1", "peak load", 87.31, "mm"), "column unit", "cannot become kN"),
        ("Results", 2, ("OLD-1", "peak load", "1.234,5", "kN"), "column value", "two ways"),
        ("Results", 2, ("OLD-1", "peak load", "about 87", "kN"), "column value", "87.31 or 87,31"),
        (
            "Results",
            2,
            ("OLD-1", "peak load", date(2017, 8, 7), "kN"),
            "column value",
            "holds a day where a number belongs",
        ),
        ("Results", 2, ("OLD-1", "luck", 1, "1"), "column result", "known are first crack load"),
        ("Results", 2, ("OLD-1", "peak load", 1, "kN", -1), "uncertainty", "not below zero"),
        ("Results", 2, ("OLD-1", "peak load", 1, "kN", None, 5), "load cycle", "whole test"),
        ("Results", 2, ("OLD-1", "loop energy", 1, "J"), "load cycle", "say which"),
        ("Results", 2, ("OLD-1", "peak load", 1, "kN", None, None, "a\u202eb"), "raw", "U+202E"),
        ("Results", 1, (*RESULTS[:3], None, "luck"), "Sheet Results, row 1", "column 'unit'"),
    ],
)
def test_what_cannot_be_taken_is_a_sentence_with_sheet_row_and_column(
    sheet, row, cells, place, words
):
    found = sentences(workbook(changed(sheet, row, cells)))
    assert any(place in line and words in line for line in found), found
    assert all(line.startswith(f"Sheet {sheet}, row") for line in found)


def test_a_sheet_of_another_name_is_said_and_an_empty_one_does_not_matter():
    assert sentences(workbook({**OLD, "Sheet4": []})) == []
    (line,) = sentences(workbook({**OLD, "Betas": [("a",)]}))
    assert line.startswith("Sheet Betas, row 1: a sheet of this name is not known")


def test_the_template_is_an_empty_workbook_that_explains_every_kind():
    template = load_workbook(BytesIO(template_workbook()))
    assert template.sheetnames == ["Specimens", "Events", "Results", "Help"]
    told = [str(cell.value) for row in template["Help"].iter_rows() for cell in row]
    assert set(KINDS) <= set(told)
    for name, (first, *_) in (("Specimens", SPECIMENS), ("Events", EVENTS), ("Results", RESULTS)):
        assert template[name]["A1"].value == first
        assert template[name]["A1"].comment is not None


def test_a_filled_template_is_read():
    template = load_workbook(BytesIO(template_workbook()))
    template["Specimens"].append(["OLD-1", "QS", "P2-LAB", "N, S", 201.5, 302])
    template["Events"].append(["OLD-1", "broken", date(2017, 9, 4), None, MODE])
    sink = BytesIO()
    template.save(sink)
    history = read(sink.getvalue())
    assert history.problems == []
    assert history.specimens[0].locations == ("N", "S")
    assert history.specimens[0].measured == {"b_mm": 201.5, "h_mm": 302.0}


@given(st.floats(-1e6, 1e6, allow_nan=False))
def test_a_number_reads_the_same_with_a_point_and_with_a_comma(value):
    text = f"{value:.6f}"
    assert number_of(text) == number_of(text.replace(".", ",")) == pytest.approx(value, abs=1e-6)


@given(st.dates(date(1900, 1, 1), date(2199, 12, 31)))
def test_a_day_reads_the_same_however_it_is_written(day):
    german = f"{day.day:02d}.{day.month:02d}.{day.year}"
    assert day_of(day.isoformat()) == day_of(german) == day_of(day) == (day, None)


@given(st.text(max_size=40))
def test_no_text_breaks_the_reading_of_a_cell(text):
    for reads in (
        number_of,
        day_of,
        time_of,
        lambda t: quantity_of(t, name="load", example="1 kN"),
    ):
        with suppress(CellWrong):
            reads(text)


@given(st.sampled_from(KINDS), st.text(max_size=60))
def test_no_text_breaks_the_reading_of_details(kind, text):
    with suppress(CellWrong):
        assert isinstance(payload_of(kind, text), dict)


def test_details_and_times_of_day():
    assert details_help("cast") == "batch; bars, if known"
    assert "maximum [kN]" in details_help("cycling-started")
    assert time_of("9:05") == time(9, 5)
    started = "machine: RIG-1; minimum: 8 kN; maximum: 40,5 kN; frequency: 5 Hz"
    assert payload_of("cycling-started", started)["maximum"] == {"value": 40.5, "unit": "kN"}
