"""Predictions in the database: made by a job, superseded, shown on every page that needs them."""

from __future__ import annotations

import json

import pytest
from django.test import Client

from labmatrix.evidence.models import Job, LedgerEntry
from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.canonical import content_key
from labmatrix.kernel.errors import NotFound, ShapeError
from results.domain.prediction.predict import predict
from results.models import Prediction
from results.selectors.model_error import ratios_as_dict, ratios_get
from results.selectors.prediction import prediction_of_specimen
from results.services.prediction import (
    prediction_is_stale,
    prediction_make,
    predictions_make,
)
from specimens.services.specimen import specimen_measured_set
from tests.results.scene import NOW, curve_csv
from tests.results.test_predictions_plain import MEMBER

pytestmark = pytest.mark.django_db

WHOLE = {**MEMBER, "stirrup_area_mm2": 100.5, "stirrup_spacing_mm": 100.0, "stirrup_fy_mpa": 420.0}


@pytest.fixture
def planned(cast):
    """The standing cast with a member that can be predicted."""
    cast.series.member = WHOLE
    cast.series.save()
    return cast


def predicted(cast, why="before casting"):
    job = predictions_make(actor=cast.lead, series=cast.series, why=why, now=NOW)
    assert job_perform(job_id=job.id)
    return Job.objects.get(pk=job.pk)


def of_cell(cast, code):
    return Prediction.objects.get(cell=cast.cells[code], specimen=None, is_current=True)


def client(person):
    found = Client()
    found.force_login(person)
    return found


def test_every_cell_is_predicted_on_the_long_queue(planned):
    job = predicted(planned)
    assert (job.queue, job.state) == ("long", "done")
    found = {p.cell.code: p.outcome["mode"] for p in Prediction.objects.select_related("cell")}
    assert found == {
        "P0-LAB": "crushing after yield",
        "P0-WDS": "crushing after yield",
        "P2-LAB": "fabric after yield",
        "P2-WDS": "fabric after yield",
    }
    strong, bare = of_cell(planned, "P2-LAB"), of_cell(planned, "P0-LAB")
    assert strong.outcome["ultimate_moment"]["value"] == pytest.approx(43.466, abs=1e-3)
    assert bare.outcome["ultimate_moment"]["value"] == pytest.approx(35.163, abs=1e-3)
    assert strong.values == "specified"


def test_a_prediction_follows_from_its_stored_inputs_alone(planned):
    predicted(planned)
    kept = of_cell(planned, "P2-LAB")
    inputs = json.loads(kept.inputs)
    assert content_key(inputs) == kept.key
    again = predict(inputs)
    assert again.outcome == kept.outcome
    assert again.curve == kept.curve
    assert again.sheet == kept.sheet


def test_a_specimen_is_predicted_with_what_was_measured(planned):
    beam = planned.specimen("P2-LAB")
    specimen_measured_set(
        actor=planned.lead, specimen=beam, measured={"fc_mpa": 33.0, "d_mm": 262.0}, why="cut",
        now=NOW,
    )  # fmt: skip
    predicted(planned)
    own = prediction_of_specimen(beam)
    assert own is not None
    assert (own.specimen, own.values) == (beam, "measured")
    assert own.used["fc_mpa"] == {"value": 33.0, "origin": "measured"}
    assert own.used["fy_mpa"]["origin"] == "specified"
    cell = of_cell(planned, "P2-LAB").outcome["ultimate_load"]["value"]
    assert own.outcome["ultimate_load"]["value"] > cell


def test_the_same_question_keeps_the_same_row(planned):
    predicted(planned)
    before = set(Prediction.objects.values_list("id", flat=True))
    predicted(planned, why="once more")
    assert set(Prediction.objects.values_list("id", flat=True)) == before


def test_new_measurements_supersede_and_the_old_one_stays(planned):
    beam = planned.specimen("P2-LAB")
    predicted(planned)
    first = prediction_of_specimen(beam)
    assert first is not None
    assert not prediction_is_stale(first)
    specimen_measured_set(
        actor=planned.lead, specimen=beam, measured={"d_mm": 262.0}, why="cut", now=NOW
    )
    assert first.specimen is not None
    first.specimen.refresh_from_db()
    assert prediction_is_stale(first)
    predicted(planned, why="depth measured")
    first.refresh_from_db()
    later = prediction_of_specimen(beam)
    assert later is not None
    assert later.pk != first.pk
    assert (first.is_current, first.superseded_by_id) == (False, later.pk)
    assert (later.is_current, later.why) == (True, "depth measured")


def test_going_back_makes_the_old_row_current_again(planned):
    predicted(planned)
    first = of_cell(planned, "P2-LAB")
    planned.series.member = {**WHOLE, "fc_mpa": 40.0}
    planned.series.save()
    predicted(planned)
    planned.series.member = WHOLE
    planned.series.save()
    predicted(planned, why="back")
    first.refresh_from_db()
    assert first.is_current
    assert first.superseded_by is None
    assert first.superseded_at is None
    assert Prediction.objects.filter(cell=first.cell, is_current=True).count() == 1


def test_what_is_missing_is_kept_as_a_sentence(cast):
    cast.series.member = {k: v for k, v in WHOLE.items() if k != "ef_mpa"}
    cast.series.save()
    job = predicted(cast)
    assert job.state == "done"
    assert of_cell(cast, "P0-LAB").error is None
    error = of_cell(cast, "P2-LAB").error
    assert "ef_mpa (modulus of the fabric)" in error["message"]
    page = client(cast.lead).get("/series/QS/plate/")
    assert "Not predicted: The member does not say ef_mpa" in page.content.decode()


def test_one_cell_can_be_predicted_alone(planned):
    made = prediction_make(actor=planned.lead, cell=planned.cells["P2-LAB"], now=NOW)
    assert made.is_current
    assert Prediction.objects.count() == 1
    entry = LedgerEntry.objects.filter(kind="prediction-request").get()
    assert entry.subject == "series/QS"


def test_asking_twice_before_a_worker_came_is_one_job(planned):
    ask = {"actor": planned.lead, "series": planned.series, "why": "plan", "now": NOW}
    assert predictions_make(**ask).pk == predictions_make(**ask).pk


def test_a_technician_and_a_stranger_may_not_ask(planned):
    for person in (planned.technician, planned.sponsor, planned.stranger):
        with pytest.raises(NotFound):
            predictions_make(actor=person, series=planned.series, why="plan", now=NOW)


def test_a_reason_is_needed(planned):
    with pytest.raises(ShapeError) as caught:
        predictions_make(actor=planned.lead, series=planned.series, why=" ", now=NOW)
    assert caught.value.code == "prediction.why"


def test_the_api_makes_lists_and_explains(planned):
    lead = client(planned.lead)
    answer = lead.post(
        "/api/series/QS/predictions/", {"why": "plan"}, content_type="application/json"
    )
    assert answer.status_code == 202
    job_perform(job_id=answer.json()["job"])
    listed = lead.get("/api/predictions/?series=QS").json()
    assert listed["count"] == 4
    first = listed["results"][0]
    assert set(first["outcome"]["ultimate_load"]) == {"value", "unit"}
    whole = lead.get(f"/api/predictions/{first['id']}/").json()
    assert whole["inputs"]["member"]["specified"]["fc_mpa"] == 30
    assert whole["sheet"]["steps"][0]["part"] == "member"
    assert lead.get("/api/predictions/?cell=P2-LAB").json()["count"] == 1
    assert client(planned.stranger).get("/api/predictions/").json()["count"] == 0


def broken(cast, cell, peak, **measured):
    beam = cast.specimen(cell)
    specimen_measured_set(
        actor=cast.lead, specimen=beam, measured={"fc_mpa": 30.0, **measured}, why="cut", now=NOW
    )
    cast.record(beam.code, curve_csv([(0, 0), (6, 0.8 * peak), (20, peak), (30, 0.6 * peak)]))
    cast.broke(beam)
    return beam


def test_ratio_by_hand_with_the_dead_load_in_the_measured_moment(planned):
    beam = broken(planned, "P2-LAB", 100.0)
    predicted(planned)
    found = ratios_get(series=planned.series)
    (row,) = found.rows
    # M = P a/2 + w L²/8 + G a/2 = 45 + 1.0368 + 0.1575; Mn 43.466 exact for the stated rules.
    assert row.ratio.measured_knm == pytest.approx(45.0 + 1.0368 + 0.1575, abs=0.01)
    assert row.ratio.value == pytest.approx(46.1943 / 43.466, abs=5e-4)
    assert (row.ratio.specimen, row.ratio.is_conditioned) == (beam.code, False)


def test_ratios_are_grouped_by_cell_and_by_mode(planned):
    broken(planned, "P2-LAB", 100.0)
    broken(planned, "P2-LAB", 104.0)
    broken(planned, "P0-LAB", 80.0)
    broken(planned, "P2-WDS", 90.0)
    predicted(planned)
    found = ratios_as_dict(ratios_get(series=planned.series))
    assert [(g["name"], g["n"]) for g in found["by_cell"]] == [
        ("P0-LAB", 1), ("P2-LAB", 2), ("P2-WDS", 1)]  # fmt: skip
    assert {g["name"]: g["n"] for g in found["by_mode"]} == {
        "crushing after yield": 1, "fabric after yield": 3}  # fmt: skip
    assert (found["unconditioned"]["n"], found["all"]["n"]) == (3, 4)
    assert found["published"]["mean"] == 1.07
    page = client(planned.lead).get("/series/QS/test-to-prediction/").content.decode()
    assert "Ebead et al. 2019" in page
    assert "1:1" in page


def test_a_broken_beam_without_prediction_is_named(planned):
    beam = broken(planned, "P2-LAB", 100.0)
    found = ratios_get(series=planned.series)
    assert found.rows == ()
    assert found.missing == (
        f"{beam.code} is broken and not predicted: ask for predictions of the series",
    )


def test_the_plate_shows_load_mode_flags_and_the_dotted_curve(planned):
    planned.series.route = {"stages": [
        {"stage": "strengthen", "plies": {"factor": "plies"}, "unless": {"plies": 0}},
        {"stage": "cycle", "cycles": 2_000_000, "minimum_kn": 8.0, "maximum_kn": 40.0,
         "frequency_hz": 4.0},
        {"stage": "break"}]}  # fmt: skip
    planned.series.save()
    predicted(planned)
    page = client(planned.lead).get("/series/QS/plate/").content.decode()
    assert page.count('<path class="prediction"') == 4 + 1  # each cell, and the legend
    assert "fabric after yield" in page
    assert "The bars will fail first, at about 1 million cycles" in page


def test_the_pre_test_sheet_proposes_and_does_not_set(planned):
    beam = planned.specimen("P2-LAB")
    empty = client(planned.technician).get(f"/specimens/{beam.code}/pre-test/").content.decode()
    assert "Predict the series" in empty
    predicted(planned)
    page = client(planned.technician).get(f"/specimens/{beam.code}/pre-test/").content.decode()
    for words in (
        "Load trip, break test",
        "Displacement trip, break test",
        "Last hold with approach",
        "Witnessed by",
        "Nothing on this page stops a machine",
        "never for the design of works",
    ):
        assert words in page, words


def test_the_life_page_draws_the_measured_curve_over_the_prediction(planned):
    beam = broken(planned, "P2-LAB", 100.0)
    predicted(planned)
    page = client(planned.lead).get(f"/specimens/{beam.code}/life/").content.decode()
    assert '"role": "prediction"' in page
    assert '"role": "interval"' in page
    assert "as measured over the prediction" in page


def test_the_calculation_sheet_has_every_step(planned):
    predicted(planned)
    kept = of_cell(planned, "P2-LAB")
    page = client(planned.lead).get(f"/predictions/{kept.pk}/").content.decode()
    for step in kept.sheet["steps"]:
        assert step["symbol"].replace("'", "&#x27;") in page
    assert ".466166" in page
    assert "Out of date" not in page


def test_the_page_of_a_series_asks_and_shows_progress(planned):
    lead = client(planned.lead)
    page = lead.get("/series/QS/predictions/").content.decode()
    assert "not predicted yet" in page
    assert "Predict every cell" in page
    assert lead.post("/series/QS/predictions/", {"why": "plan"}).status_code == 302
    assert lead.get("/series/QS/predictions/progress/").json()["status"] == "waiting"
    assert "data-progress-url" in lead.get("/series/QS/predictions/").content.decode()
    job_perform(job_id=Job.objects.get(kind="predict").pk)
    assert lead.get("/series/QS/predictions/progress/").json()["status"] == "done"
    assert "fabric after yield" in lead.get("/series/QS/predictions/").content.decode()
    seen = client(planned.technician).get("/series/QS/predictions/").content.decode()
    assert "Predict every cell" not in seen


def test_predictions_of_a_plate_cost_no_query_a_cell(planned, django_assert_max_num_queries):
    predicted(planned)
    lead = client(planned.lead)
    with django_assert_max_num_queries(40):
        lead.get("/series/QS/plate/")
