"""Predictions take what was measured on the lots in a member, and keep what stood before."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from django.test import Client

from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.errors import ShapeError
from results.models import Prediction
from results.selectors.comparison import comparison_get
from results.selectors.model_error import ratios_as_dict, ratios_get
from results.selectors.prediction import materials_said, prediction_changes
from results.services.prediction import prediction_is_stale, prediction_make, predictions_make
from specimens.services.lot import lot_add, lot_change
from specimens.services.typed_test import typed_test_add, typed_test_strike
from tests.results.scene import CAST_AT, NOW, curve_csv
from tests.results.test_predictions import WHOLE

pytestmark = pytest.mark.django_db
CURVE = [(0.0, 0.0), (1.0, 15.0), (6.0, 60.0), (20.0, 90.0), (40.0, 50.0)]


@pytest.fixture
def planned(cast):
    """A member that can be predicted, and the batch that every specimen is cast of."""
    cast.series.member = WHOLE
    cast.series.save()
    cast.lot = lot_add(
        actor=cast.lead, programme=cast.programme, code="C-01", kind="concrete", title="C30/37",
        made_on=CAST_AT.date(), specified={"fc_mpa": 30}, source="mix design 7", now=NOW,
    )  # fmt: skip
    return cast


def cylinders(cast, *loads_kn, day=28):
    return [
        typed_test_add(
            actor=cast.technician, lot=cast.lot, test="cylinder", mark=f"C{day}-{n}",
            tested_on=CAST_AT.date() + timedelta(days=day), now=NOW,
            values={"diameter_mm": 150.0, "length_mm": 300.0, "load_kn": load},
        )
        for n, load in enumerate(loads_kn)
    ]  # fmt: skip


def predicted(cast, specimen, seconds=0):
    now = NOW + timedelta(seconds=seconds)
    return prediction_make(
        actor=cast.lead, cell=cast.cells[specimen.cell.code], specimen=specimen, now=now
    )


def page(person, path):
    client = Client()
    client.force_login(person)
    return client.get(path)


def test_specified_before_measured_after_and_both_are_kept(planned):
    beam = planned.specimen("P2-LAB")
    before = predicted(planned, beam)
    assert before.values == "specified"
    assert before.used["fc_mpa"] == {
        "value": 30.0, "origin": "specified", "words": "C-01: mix design 7",
    }  # fmt: skip
    tests = cylinders(planned, 636.2, 636.2)  # 36.0 MPa
    assert prediction_is_stale(before)
    after = predicted(planned, beam, 1)
    before.refresh_from_db()
    assert (before.is_current, before.superseded_by) == (False, after)
    assert after.values == "measured"
    assert after.used["fc_mpa"]["value"] == pytest.approx(36.0, abs=2e-3)
    assert after.used["fc_mpa"]["words"] == "2 cylinders of C-01 at 28 d"
    told = {m["name"]: m for m in json.loads(after.inputs)["materials"]}
    assert told["fc_mpa"]["n"] == 2
    assert told["fc_mpa"]["tests"] == sorted(str(t.pk) for t in tests)
    assert after.key != before.key
    assert after.outcome["ultimate_moment"]["value"] > before.outcome["ultimate_moment"]["value"]


def test_the_page_says_what_was_used_and_what_changed(planned):
    beam = planned.specimen("P2-LAB")
    before = predicted(planned, beam)
    cylinders(planned, 636.2, 640.0, 632.4)
    after = predicted(planned, beam, 1)
    assert materials_said(after).startswith("f'c 36 MPa measured, 3 cylinders of C-01 at 28 d; ")
    changed = {c.what: c for c in prediction_changes(after, before)}
    assert changed["fc_mpa"].before == "30, specified"
    assert changed["fc_mpa"].after.endswith(", measured")
    assert changed["ultimate load"].why.startswith("+")
    shown = page(planned.lead, f"/predictions/{after.pk}/").content.decode()
    assert "What changed" in shown
    assert str(before.pk) in shown
    assert "3 cylinders of C-01 at 28 d" in shown
    assert "What changed" not in page(planned.lead, f"/predictions/{before.pk}/").content.decode()
    sheet = page(planned.lead, f"/specimens/{beam.code}/pre-test/").content.decode()
    assert "3 cylinders of C-01 at 28 d" in sheet


def test_a_struck_test_counts_no_more_and_a_changed_sheet_is_seen(planned):
    beam = planned.specimen("P2-LAB")
    one, two = cylinders(planned, 636.2, 706.9)
    both = predicted(planned, beam)
    typed_test_strike(actor=planned.technician, test=two, why="another batch", now=NOW)
    alone = predicted(planned, beam, 1)
    assert alone.used["fc_mpa"]["words"] == "1 cylinder of C-01 at 28 d"
    assert alone.used["fc_mpa"]["value"] < both.used["fc_mpa"]["value"]
    typed_test_strike(actor=planned.technician, test=one, why="another batch", now=NOW)
    lot_change(actor=planned.lead, lot=planned.lot, specified={"fc_mpa": 25}, why="sheet", now=NOW)
    none = predicted(planned, beam, 2)
    assert (none.values, none.used["fc_mpa"]["value"]) == ("specified", 25.0)


def test_the_age_nearest_to_the_break_is_taken(planned):
    beam = planned.specimen("P2-LAB")
    cylinders(planned, 530.1, day=28)
    cylinders(planned, 636.2, day=120)
    planned.broke(beam, day=118.0)
    found = predicted(planned, beam)
    assert found.used["fc_mpa"]["words"] == "1 cylinder of C-01 at 120 d"


def test_lots_of_another_programme_are_not_taken(planned):
    """A batch code that another programme keeps says nothing about this one's members."""
    beam = planned.specimen("P2-LAB")
    planned.lot.programme = type(planned.programme).objects.get(code="ELSEWHERE")
    planned.lot.save()
    found = predicted(planned, beam)
    assert json.loads(found.inputs)["materials"] == []


def _broken_and_predicted(cast):
    beam = cast.specimen("P2-LAB")
    predictions_make(actor=cast.lead, series=cast.series, why="before", now=NOW)
    job_perform(job_id=predictions_make(actor=cast.lead, series=cast.series, why="x", now=NOW).pk)
    cylinders(cast, 848.2, 848.2)  # 48.0 MPa
    job = predictions_make(actor=cast.lead, series=cast.series, why="after", now=NOW)
    job_perform(job_id=job.pk)
    cast.record(beam.code, curve_csv(CURVE))
    cast.broke(beam)
    return beam


def test_ratios_from_measured_and_from_specified_values_are_both_there(planned):
    _broken_and_predicted(planned)
    measured = ratios_get(series=planned.series)
    specified = ratios_get(series=planned.series, values="specified values")
    assert (measured.values, specified.values) == ("measured values", "specified values")
    [one], [other] = measured.rows, specified.rows
    assert one.prediction.values == "measured"
    assert other.prediction.values == "specified"
    assert one.ratio.value < other.ratio.value
    # By hand: (90 kN · 0.9 m/2 + dead moment) over the moment of each prediction.
    dead = one.prediction.outcome["dead_moment"]["value"]
    wanted = (90.0 * 0.45 + dead) / one.prediction.outcome["ultimate_moment"]["value"]
    assert one.ratio.value == pytest.approx(wanted, rel=1e-9)
    assert ratios_as_dict(specified)["values"] == "specified values"
    with pytest.raises(ShapeError, match="values is 'guessed'; allowed are measured values"):
        ratios_get(series=planned.series, values="guessed")
    shown = page(planned.lead, "/series/QS/test-to-prediction/?values=specified+values")
    assert shown.status_code == 200
    assert "predicted with specified values alone" in shown.content.decode()
    wrong = page(planned.lead, "/series/QS/test-to-prediction/?values=guessed")
    assert wrong.status_code == 400
    told = page(planned.lead, "/api/series/QS/test-to-prediction/?values=specified%20values").json()
    assert told["specimens"][0]["test_to_prediction"] == pytest.approx(other.ratio.value)


def test_the_ratio_is_a_metric_of_the_comparison(planned):
    _broken_and_predicted(planned)
    table = comparison_get(series=planned.series, metric="test_to_prediction")
    [row] = [r for r in table.rows if r.group.n]
    [ratio] = ratios_get(series=planned.series).rows
    assert (table.unit, table.method) == ("1", "measured values")
    assert row.group.mean == pytest.approx(ratio.ratio.value)
    assert row.samples[0].metric_id == ratio.metric_id
    other = comparison_get(
        series=planned.series, metric="test_to_prediction", method="specified values"
    )
    assert next(r.group.mean for r in other.rows if r.group.n) > row.group.mean
    path = "/series/QS/comparison/?metric=test_to_prediction|specified values"
    assert page(planned.lead, path).status_code == 200


def test_the_materials_of_a_series_are_shown_and_taken_away(planned):
    beam = planned.specimen("P2-LAB")
    cylinders(planned, 530.1, 540.0, 520.2)
    shown = page(planned.technician, "/series/QS/materials/").content.decode()
    for words in ("C-01", "C30/37", "cylinder strength", beam.code, "3 cylinders of C-01 at 28 d"):
        assert words in shown
    csv = page(planned.technician, "/series/QS/materials/table.csv").content.decode("utf-8-sig")
    assert 'Lot,Property,Specified [MPa],"Measured, mean [MPa]",s [MPa],n [1]' in csv
    assert re.search(r"C-01,cylinder strength,30(\.0)?,(29\.9|30\.0)\d+,0\.\d+,3,", csv), csv
    assert "Strongfloor" in csv
    assert "work in progress" in csv
    told = page(planned.technician, "/api/series/QS/materials/").json()
    [lot] = told["lots"]
    assert lot["measured"][0]["n"] == 3
    assert lot["measured"][0]["mean"]["unit"] == "MPa"
    assert told["specimens"][0]["materials"][0]["words"] == "3 cylinders of C-01 at 28 d"
    lot_page = page(planned.technician, "/materials/C-01/").content.decode()
    assert "typed" in lot_page
    assert beam.code in lot_page


def test_a_series_without_lots_says_what_to_do_first(cast):
    shown = page(cast.lead, "/series/QS/materials/").content.decode()
    assert "No event of the series names a lot that is known" in shown
    assert page(cast.lead, "/series/QS/materials/table.csv").status_code == 200


def test_typing_a_test_on_the_page_says_what_does_not_fit(planned):
    client = Client()
    client.force_login(planned.technician)
    sent = {"mark": "C1", "tested_on": "2026-02-02", "p-diameter_mm": "150", "p-length_mm": "100",
            "p-load_kn": "9999999"}  # fmt: skip
    refused = client.post("/materials/C-01/type/cylinder/", sent)
    assert refused.status_code == 400
    assert "load_kn is 9999999.0; allowed is a number from 0.01 to 20000 kN" in (
        refused.content.decode()
    )
    kept = client.post("/materials/C-01/type/cylinder/", sent | {"p-load_kn": "540",
                                                                "p-length_mm": "300"})  # fmt: skip
    assert kept.status_code == 302
    assert planned.lot.typed_tests.get().values["load_kn"] == 540.0


def test_materials_of_a_series_cost_no_query_a_specimen(planned, django_assert_max_num_queries):
    for _ in range(3):
        planned.specimen("P2-LAB")
    cylinders(planned, 530.1, 540.0)
    client = Client()
    client.force_login(planned.lead)
    with django_assert_max_num_queries(30):
        assert client.get("/series/QS/materials/").status_code == 200
    assert Prediction.objects.count() == 0
