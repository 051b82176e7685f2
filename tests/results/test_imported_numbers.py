"""Imported numbers count where nothing was reduced: marked, counted apart, left out on demand."""

from __future__ import annotations

import io
from datetime import date, datetime

import pytest
from django.test import Client
from openpyxl import load_workbook

from labmatrix.kernel.errors import ShapeError
from labmatrix.kernel.units import convert
from labmatrix.matrix.models import Cell
from results.domain.comparison.groups import ALL_IMPORTED, IMPORTED
from results.domain.history.metrics import RESULTS as KNOWN_RESULTS
from results.models import HistoryImport, Metric
from results.selectors.comparison import Comparison, Row, comparison_get
from results.selectors.metric_choice import cycles_offered, metrics_offered
from results.selectors.plate import plate_get
from results.selectors.retention import retention_list
from results.selectors.snapshot import MetricAsked
from results.selectors.what_if_conclusions import conclusion_list
from results.services.release import release_make
from tests.results.history_books import EVENTS, MODE, RESULTS, sent_book, workbook
from tests.results.scene import NOW, Scene, curve_csv

pytestmark = pytest.mark.django_db
CURVE = curve_csv([(0, 0), (1, 15), (6, 60), (25, 72), (40, 50)])
# Peak loads in kN of an earlier campaign, two specimens a cell.
PEAKS = {
    "P0-LAB": (40.0, 44.0),
    "P2-LAB": (60.0, 66.0),
    "P0-WDS": (38.0, 40.0),
    "P2-WDS": (50.0, 52.0),
}


def earlier(cast: Scene, *more: tuple[object, ...]) -> HistoryImport:
    """The earlier campaign, taken in; further rows of results may be added."""
    Cell.objects.update(replicates=9)
    specimens, events = [("specimen", "series", "cell")], [EVENTS]
    results: list[tuple[object, ...]] = [(*RESULTS, "method", "measured on")]
    for cell, peaks in PEAKS.items():
        for place, peak in enumerate(peaks, 1):
            code = f"OLD-{cell}-{place}"
            specimens.append((code, "QS", cell))
            events.append((code, "cast", date(2017, 3, 6), None, "C-17"))
            events.append((code, "broken", datetime(2017, 9, 4, 14, 30), None, MODE))
            results.append((code, "peak load", peak, "kN", "0.5" if place == 1 else None))
    sheets = {"Specimens": specimens, "Events": events, "Results": [*results, *more]}
    source = sent_book(cast, workbook(sheets), take=True)
    assert source.status == HistoryImport.Status.TAKEN, source.error
    return source


def row_of(table: Comparison, cell: str) -> Row:
    return next(row for row in table.rows if row.cell.code == cell)


def signed_in(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def page_of(cast: Scene, path: str) -> str:
    return signed_in(cast.lead).get(path, follow=True).content.decode()


def test_gain_and_both_retentions_rest_on_imported_numbers_and_say_so(cast: Scene):
    earlier(cast)
    table = comparison_get(series=cast.series, metric="peak_load")
    row = row_of(table, "P2-LAB")
    assert (row.group.n, row.group.imported, row.group.mean) == (2, 2, 63.0)
    assert row.against.gain == pytest.approx(63.0 / 42.0 - 1)
    assert row.against.control_imported == 2
    assert ALL_IMPORTED in row.group.notes
    assert any("of the gain control P0-LAB have an imported" in n for n in row.against.notes)
    [kept] = [one for one in retention_list(table) if one.cell.code == "P2-WDS"]
    assert kept.member.retention.value == pytest.approx(51.0 / 63.0)
    assert kept.contribution.retention.value == pytest.approx((51.0 - 39.0) / (63.0 - 42.0))
    for told, groups in ((kept.member, 2), (kept.contribution, 4)):
        [words] = [n for n in told.notes if n.startswith("Imported numbers")]
        assert words.count("2 of 2 in") == groups


def test_an_imported_number_has_the_uncertainty_that_the_workbook_states_and_no_budget(cast: Scene):
    earlier(cast)
    table = comparison_get(series=cast.series, metric="peak_load")
    stated, unstated = row_of(table, "P2-LAB").samples
    assert (stated.u, unstated.u) == (0.5, None)
    assert {s.metric_id for s in (stated, unstated)} == {""}
    assert not Metric.objects.exists()


def test_reduced_and_imported_numbers_are_counted_apart_and_can_be_told_apart(cast: Scene):
    earlier(cast)
    own = cast.specimen("P2-LAB")
    cast.record(own.code, CURVE)
    row = row_of(comparison_get(series=cast.series, metric="peak_load"), "P2-LAB")
    assert (row.group.n, row.group.imported) == (3, 2)
    without = comparison_get(series=cast.series, metric="peak_load", imported="without")
    row = row_of(without, "P2-LAB")
    assert (row.group.n, row.group.imported, [s.specimen for s in row.samples]) == (
        1,
        0,
        [own.code],
    )
    assert row.against.gain is None
    assert len(without.imported_codes) == 8
    page = page_of(cast, "/series/QS/comparison/")
    assert "9 specimens, 8 of them with an imported number" in page.replace("\n", " ")
    assert "With and without imported numbers" in page
    assert "<em>imported</em>" in page
    page = page_of(cast, "/series/QS/comparison/?imported=without")
    assert "They are left out of everything below." in page
    assert "<em>imported</em>" not in page


def test_a_reduced_number_takes_the_place_of_the_imported_one(cast: Scene):
    earlier(cast)
    cast.record("OLD-P2-LAB-1", CURVE)
    table = comparison_get(series=cast.series, metric="peak_load")
    assert "OLD-P2-LAB-1" not in table.imported_codes
    row = row_of(table, "P2-LAB")
    assert [s.imported for s in row.samples] == [False, True]
    assert row.group.imported == 1


def test_files_and_the_api_mark_every_imported_number(cast: Scene):
    earlier(cast)
    lead = signed_in(cast.lead)
    told = lead.get("/api/series/QS/comparison/").json()
    assert {v["origin"] for g in told["groups"] for v in g["values"]} == {IMPORTED}
    assert [g["imported"] for g in told["groups"]] == [2, 2, 2, 2]
    csv = lead.get("/api/series/QS/comparison.csv").content.decode()
    assert "of them imported [specimens]" in csv
    assert "OLD-P2-LAB-1; OLD-P2-LAB-2" in csv
    foot = lead.get("/series/QS/comparison/table.csv").content.decode()
    assert "Of them 8 imported, number as reported, no raw record behind it: OLD-P" in foot
    assert foot.count(IMPORTED) == 8
    without = lead.get("/series/QS/comparison/table.csv?imported=without").content.decode()
    assert "Left out as imported, number as reported, no raw record behind it: OLD-P" in without
    book = load_workbook(io.BytesIO(lead.get("/series/QS/comparison/table.xlsx").content))
    heads = [c.value for sheet in book for row in sheet.iter_rows() for c in row]
    assert (
        sum(str(head).startswith("of them imported") for head in heads) == 5
    )  # the comparison, and both sides of each retention
    kept = lead.get("/api/series/QS/retention/?imported=without").json()
    assert all(c["member_retention"]["value"] is None for c in kept["cells"])
    assert lead.get("/api/series/QS/comparison/?imported=some").status_code == 400


def test_the_plate_draws_imported_numbers_as_what_they_are(cast: Scene):
    earlier(cast)
    cast.record(cast.specimen("P2-LAB").code, CURVE)
    plate = plate_get(series=cast.series, now=NOW)
    cells = {c.code: c for _, squares in plate.rows for square in squares for c in square.cells}
    assert [dot.imported for dot in cells["P2-LAB"].strip.dots].count(True) == 2
    assert len(cells["P2-LAB"].strip.dots) == 3
    page = page_of(cast, "/series/QS/plate/")
    assert "n = 3, 2 of them imported" in page
    assert "Open squares are imported: number as reported, no raw record behind it" in page
    page = page_of(cast, "/series/QS/plate/?imported=without")
    assert 'class="imported"' not in page
    assert "which no raw record stands behind, are left out" in page


def test_a_figure_file_says_who_has_no_curve(cast: Scene):
    earlier(cast)
    cast.record(cast.specimen("P2-LAB").code, CURVE)
    file = signed_in(cast.lead).get("/series/QS/comparison/load-deflection.csv").content.decode()
    assert "n = 1 specimens" in file
    assert "Their number is imported, so they have no record and no curve: OLD-P0-LAB-1" in file


def test_the_first_page_counts_imported_numbers_apart(cast: Scene):
    earlier(cast)
    page = page_of(cast, "/")
    assert "What can be said so far of QS" in page
    assert "Imported: number as reported, no raw record behind it." in page
    assert page.count("of them imported") == 2


def test_a_what_if_says_that_imported_numbers_stay(cast: Scene):
    earlier(cast)
    cast.record(cast.specimen("P2-LAB").code, CURVE)
    _, notes = conclusion_list(cast.series, [("peak_load", "")], {})
    [words] = [note for note in notes if "imported" in note]
    assert words.startswith("QS, peak load: 8 of 9 specimens have an imported number")


def release(cast: Scene, why: str = "the earlier campaign", imported: str = "with"):
    return release_make(
        actor=cast.lead,
        series=cast.series,
        scope="Valid for beams of the earlier campaign.",
        why=why,
        metrics=[MetricAsked("peak_load")],
        imported=imported,
        now=NOW,
    )


def test_a_release_freezes_the_mark_and_the_sponsor_sees_it(cast: Scene):
    earlier(cast)
    made = release(cast)
    group = made.content["results"][0]["comparison"]["groups"][1]
    assert {value["origin"] for value in group["values"]} == {IMPORTED}
    sponsor = signed_in(cast.sponsor)
    seen = sponsor.get(f"/api/releases/{made.pk}/").json()
    assert seen["what"]["imported"] == "with"
    [table] = [one["comparison"] for one in seen["results"]]
    assert {v["origin"] for g in table["groups"] for v in g["values"]} == {IMPORTED}
    assert [g["imported"] for g in table["groups"]] == [2, 2, 2, 2]
    page = sponsor.get(f"/releases/{made.pk}/").content.decode()
    assert "8 of 8 specimens have an imported number of peak load: number as reported, no" in page
    assert "Specimens whose number is imported have no record" in page
    assert "of them imported" in page
    assert "of them imported" in sponsor.get("/series/QS/progress/").content.decode()
    file = sponsor.get(f"/releases/{made.pk}/table.csv").content.decode()
    assert "8 of 8 specimens have an imported number" in file


def test_an_amendment_says_when_a_number_came_from_a_record_after_all(cast: Scene):
    earlier(cast)
    release(cast)
    cast.record("OLD-P2-LAB-1", CURVE)
    changes = {
        c["what"]: (c["before"], c["after"]) for c in release(cast, "found the file").changes
    }
    assert changes["OLD-P2-LAB-1, peak load: origin"] == (IMPORTED, "reduced")
    assert changes["P2-LAB, peak load: of them imported"] == (2, 1)


def test_a_release_without_imported_numbers_holds_none(cast: Scene):
    earlier(cast)
    own = cast.specimen("P2-LAB")
    cast.record(own.code, CURVE)
    made = release(cast, imported="without")
    [table] = [one["comparison"] for one in made.content["results"]]
    assert [v["specimen"] for g in table["groups"] for v in g["values"]] == [own.code]


def test_a_number_without_a_method_stands_under_any_and_is_named(cast: Scene):
    row = ("OLD-P2-LAB-1", "yield load", 48, "kN", None, None, None)
    earlier(cast, row, ("OLD-P2-LAB-2", "yield load", 50, "kN", None, None, None, "offset"))
    table = comparison_get(series=cast.series, metric="yield_load", method="offset")
    group = row_of(table, "P2-LAB").group
    assert group.n == 2
    assert any("Of OLD-P2-LAB-1 the workbook does not say" in note for note in group.notes)
    offered = {one["value"] for one in metrics_offered(cast.series)}
    assert {"yield_load|offset", "peak_load|"} <= offered
    assert "yield_load|" not in offered


def test_several_methods_of_imported_numbers_are_never_mixed(cast: Scene):
    rows = [
        (f"OLD-P2-LAB-{n}", "yield load", 48, "kN", None, None, None, method)
        for n, method in ((1, "offset"), (2, "tangents"))
    ]
    earlier(cast, *rows)
    with pytest.raises(ShapeError, match="offset, tangents"):
        comparison_get(series=cast.series, metric="yield_load")
    assert comparison_get(series=cast.series, metric="yield_load", imported="without").n == 0
    chosen = comparison_get(series=cast.series, metric="yield_load", method="tangents")
    assert [s.specimen for s in row_of(chosen, "P2-LAB").samples] == ["OLD-P2-LAB-2"]


def test_load_cycles_of_imported_numbers_can_be_chosen(cast: Scene):
    rows = [
        ("OLD-P2-LAB-1", "secant stiffness", value, "kN/mm", None, at, None)
        for at, value in ((1, 12.0), (1000, 11.0))
    ]
    earlier(cast, *rows)
    assert cycles_offered(cast.series, "secant_stiffness") == [1, 1000]
    at = comparison_get(series=cast.series, metric="secant_stiffness", at=1)
    assert row_of(at, "P2-LAB").group.mean == 12.0
    last = comparison_get(series=cast.series, metric="secant_stiffness")
    assert row_of(last, "P2-LAB").group.mean == 11.0


def test_an_imported_number_is_kept_in_the_unit_of_the_reduced_one(cast: Scene):
    own = cast.specimen("P2-LAB")
    cast.record(own.code, CURVE)
    units = dict(Metric.objects.values_list("name", "unit"))
    shared = set(units) & set(KNOWN_RESULTS)
    assert "energy_to_peak" in shared
    assert {
        name: convert(1.0, units[name], KNOWN_RESULTS[name]) for name in shared
    } == dict.fromkeys(shared, 1.0)


def test_an_imported_number_is_dated_by_its_day_where_no_break_is_logged(cast: Scene):
    own = cast.specimen("P2-LAB")
    row = (own.code, "peak load", 61, "kN", None, None, None, None, "2026-03-06")
    sheets = {"Results": [(*RESULTS, "method", "measured on"), row]}
    assert sent_book(cast, workbook(sheets), take=True).status == HistoryImport.Status.TAKEN
    table = comparison_get(series=cast.series, metric="peak_load")
    assert row_of(table, "P2-LAB").group.age_d == pytest.approx(60.0, abs=0.5)


def test_the_trend_of_chosen_cells_takes_imported_numbers_and_marks_them(cast: Scene):
    earlier(cast)
    page = page_of(cast, "/overlay/?cell=QS/P2-LAB&cell=QS/P0-LAB&metric=peak_load")
    assert "4 specimens of 2 cells" in page
    assert "4 of them imported: number as reported, no raw record behind it" in page


def test_test_to_prediction_judges_the_equation_by_records_alone(cast: Scene):
    earlier(cast)
    page = page_of(cast, "/series/QS/test-to-prediction/")
    assert "8 specimens have an imported peak load" in page
