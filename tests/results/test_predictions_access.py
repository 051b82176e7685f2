"""Every address of predictions and calculators against every role, and the calculators' pages."""

from __future__ import annotations

import pytest
from django.test import Client

from results.models import Prediction
from results.services.prediction import prediction_make
from tests.results.access_predictions import ACCESS, FORM
from tests.results.scene import NOW, Scene
from tests.results.test_predictions import WHOLE
from tests.specimens.access_table import WHO, Access
from tests.specimens.access_world import asked


@pytest.mark.parametrize("access", ACCESS, ids=lambda a: f"{a.method} {a.path}")
def test_each_role_gets_what_the_table_says(cast: Scene, access: Access):
    cast.series.member = WHOLE
    cast.series.save()
    specimen = cast.specimen("P2-LAB")
    made = prediction_make(actor=cast.lead, cell=cast.cells["P2-LAB"], now=NOW)
    names = {"specimen": specimen.code, "prediction": str(made.pk)}
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    found = {who: asked(access, who, people, names).status_code for who in WHO}
    assert found == {who: access.status_for(who) for who in WHO}


@pytest.fixture
def signed_in(cast: Scene) -> Client:
    """A technician's browser."""
    client = Client()
    client.force_login(cast.technician)
    return client


def test_a_calculator_shows_its_sheet_and_keeps_nothing(signed_in):
    fabric = {
        "member-fabric-plies": "2",
        "member-fabric-ply_thickness_mm": "0.05",
        "member-fabric-modulus_mpa": "128000",
        "member-fabric-design_strain": "0.012",
    }
    page = signed_in.post("/calculators/flexure/", {**FORM, **fabric}).content.decode()
    assert "For planning tests, never for the design of works." in page
    assert ".466166" in page  # Mn 43.466 kN·m, exact for the stated rules
    assert not Prediction.objects.exists()


def test_a_wrong_number_is_said_beside_its_field(signed_in):
    answer = signed_in.post("/calculators/flexure/", {**FORM, "member-bars-0-yield_mpa": "60"})
    assert answer.status_code == 400
    form = answer.context["form"]
    assert form.errors["member-bars-0-yield_mpa"] == [
        "member.bars[0].yield_mpa is 60; allowed is from 100 to 1500."
    ]


def test_the_api_answers_an_error_as_a_sentence(signed_in):
    answer = signed_in.post(
        "/api/calculators/beam/", {"member": {}}, content_type="application/json"
    )
    assert answer.status_code == 400
    assert answer.json()["code"] == "section.no-bars"


@pytest.mark.parametrize("body", ["[]", "3", '"x"', "null"])
def test_a_payload_that_is_no_object_is_refused(signed_in, body):
    answer = signed_in.post("/api/calculators/flexure/", body, content_type="application/json")
    assert answer.status_code == 400
    assert set(answer.json()) == {"code", "message", "facts"}
