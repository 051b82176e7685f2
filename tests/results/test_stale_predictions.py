"""Predictions and numbers whose inputs have changed are said on the first page, with one link."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labmatrix.evidence.models import Job
from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.clock import now
from results.models import Prediction
from results.services.prediction import predictions_make, predictions_out_of_date
from results.services.stale import UP_TO_DATE
from specimens.services.specimen import specimen_measured_set
from tests.results.scene import Scene, scene
from tests.results.test_predictions import WHOLE

pytestmark = pytest.mark.django_db


@pytest.fixture
def cast() -> Scene:
    """A series with a whole member, one beam, and everything predicted."""
    made = scene()
    made.series.member = WHOLE
    made.series.save()
    made.specimen("P2-LAB")
    predict(made)
    return made


def predict(cast: Scene) -> None:
    predictions_make(actor=cast.lead, series=cast.series, why="test", now=now())
    job = Job.objects.filter(kind="predict").latest("created_at")
    assert job_perform(job_id=job.pk)


def client_of(person) -> Client:
    client = Client()
    client.force_login(person)
    return client


def said(cast: Scene) -> str:
    return str(client_of(cast.lead).get("/records/stale/state/").json()["words"])


def test_what_was_just_predicted_is_up_to_date(cast):
    assert predictions_out_of_date([cast.series]) == {}
    assert said(cast) == UP_TO_DATE
    assert "Predictions out of date" not in page_of(cast)


def page_of(cast: Scene) -> str:
    return client_of(cast.lead).get("/records/stale/").content.decode()


def test_a_changed_member_puts_every_prediction_out_of_date_until_they_are_made_again(cast):
    cast.series.member = {**WHOLE, "fc_mpa": 45}
    cast.series.save()
    # A label keeps the member of its day: only cells, as specified, follow the plan.
    cells = Prediction.objects.filter(is_current=True, specimen__isnull=True).count()
    assert predictions_out_of_date([cast.series]) == {cast.series.pk: cells}
    assert cells > 1
    assert said(cast).startswith(f"{cells} predictions are out of date")
    assert "Predict QS again" in page_of(cast)
    predict(cast)
    assert said(cast) == UP_TO_DATE


def test_a_measured_value_puts_that_specimens_prediction_out_of_date(cast):
    beam = next(iter(cast.specimens.values()))
    specimen_measured_set(
        actor=cast.lead, specimen=beam, measured={"fc_mpa": 51}, why="cylinders", now=now()
    )
    assert predictions_out_of_date([cast.series]) == {cast.series.pk: 1}
    assert said(cast).startswith("1 prediction is out of date")


def test_the_first_page_of_who_may_redo_them_leads_there(cast):
    for person, sees in ((cast.lead, True), (cast.manager, True), (cast.technician, False)):
        page = client_of(person).get("/").content.decode()
        assert ('data-progress-url="/records/stale/state/"' in page) is sees
        assert ('href="/records/stale/"' in page) is sees


def test_as_many_questions_however_many_specimens(cast):
    with CaptureQueriesContext(connection) as few:
        predictions_out_of_date([cast.series])
    for _ in range(2):
        cast.specimen("P2-LAB")
    predict(cast)
    with CaptureQueriesContext(connection) as many:
        assert predictions_out_of_date([cast.series]) == {}
    assert len(many) <= len(few)
