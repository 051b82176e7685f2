"""Programmes, series, cells and matrix files through the API."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from labmatrix.evidence.models import LedgerEntry
from labmatrix.matrix.domain.sheet import FILE_MAX_BYTES
from labmatrix.matrix.models import Cell, Membership, Programme, Series
from labmatrix.matrix.services.cell import cell_add, cells_generate
from labmatrix.web.models import Person
from tests.matrix.conftest import EVERYONE, MEMBERS, NOW, Cast
from tests.matrix.factories import MembershipFactory, ProgrammeFactory, SeriesFactory
from tests.matrix.files import csv_file, json_file, xlsx_file
from tests.matrix.test_matrix_plan import JSON

pytestmark = pytest.mark.django_db


def as_person(person: Person | None) -> APIClient:
    """A client that speaks for a person, or for nobody."""
    client = APIClient()
    if person is not None:
        client.force_authenticate(person)
    return client


@pytest.fixture
def cell(cast: Cast, series: Series) -> Cell:
    """One cell with a note."""
    return cell_add(
        actor=cast.lead,
        series=series,
        levels={"plies": 2, "exposure": "wet–dry salt"},
        replicates=3,
        note="the lighter girder",
        now=NOW,
    )


READING = (
    "/api/programmes/QUAYSIDE/",
    "/api/series/QV-B/",
    "/api/cells/?series=QV-B",
)
LISTS = ("/api/programmes/", "/api/series/", "/api/cells/")


@pytest.mark.parametrize("name", [*EVERYONE, "nobody"])
@pytest.mark.parametrize("path", READING)
def test_who_may_read(path, name, cast, cell):
    answer = as_person(None if name == "nobody" else cast.of(name)).get(path)
    expected = 200 if name in MEMBERS else 401 if name in ("nobody", "gone") else 404
    assert answer.status_code == expected
    if expected != 200:
        assert set(answer.json()) == {"code", "message", "facts"}


@pytest.mark.parametrize("name", [*EVERYONE, "nobody"])
@pytest.mark.parametrize("path", LISTS)
def test_lists_hold_what_is_the_persons_own(path, name, cast, cell):
    answer = as_person(None if name == "nobody" else cast.of(name)).get(path)
    if name in ("nobody", "gone"):
        assert answer.status_code == 401
        return
    body = answer.json()
    assert set(body) == {"count", "next", "previous", "results"}
    codes = {row["code"] for row in body["results"]}
    mine = {"/api/programmes/": "QUAYSIDE", "/api/series/": "QV-B", "/api/cells/": "P2-WDS"}[path]
    assert (mine in codes) is (name in MEMBERS)
    assert body["count"] == len(codes)


@pytest.mark.parametrize("name", [*EVERYONE, "nobody"])
def test_who_may_send_a_matrix(name, cast, series):
    client = as_person(None if name == "nobody" else cast.of(name))
    answer = client.post("/api/series/QV-B/matrix/", JSON | {"factors": []}, format="json")
    expected = {"lead": 400, "nobody": 401, "gone": 401}.get(name, 404)
    assert answer.status_code == expected
    assert Cell.objects.count() == 0


@pytest.mark.parametrize("name", [*EVERYONE, "nobody"])
def test_who_may_start_a_series(name, cast):
    client = as_person(None if name == "nobody" else cast.of(name))
    asked = {
        "programme": "QUAYSIDE",
        "code": "QV-C",
        "title": "Coupons",
        "specimen_type": "coupon",
        "member": {"width_mm": 50},
    }
    answer = client.post("/api/series/", asked, format="json")
    expected = {"lead": 201, "nobody": 401, "gone": 401}.get(name, 404)
    assert answer.status_code == expected
    assert Series.objects.filter(code="QV-C").exists() is (expected == 201)
    if expected == 201:
        assert answer.json()["member"] == {"width_mm": 50}
        assert answer.json()["code_template"] == "{series}-{cell}-{n:02d}"


@pytest.mark.parametrize("name", [*EVERYONE, "nobody"])
def test_who_may_start_a_programme(name, cast):
    client = as_person(None if name == "nobody" else cast.of(name))
    asked = {"code": "NEW", "title": "New", "starts_on": "2026-01-01"}
    answer = client.post("/api/programmes/", asked, format="json")
    expected = {"lead": 201, "stranger": 201, "nobody": 401, "gone": 401}.get(name, 404)
    assert answer.status_code == expected
    if expected == 201:
        assert answer.json()["role"] == "lead"
        assert Membership.objects.filter(programme__code="NEW", person=cast.of(name)).exists()


def test_a_sponsor_sees_the_plan_without_the_laboratorys_own_words(cast, cell):
    seen = {}
    for name in ("technician", "sponsor"):
        client = as_person(cast.of(name))
        (row,) = client.get("/api/cells/?series=QV-B").json()["results"]
        series = client.get("/api/series/QV-B/").json()
        programme = client.get("/api/programmes/QUAYSIDE/").json()
        seen[name] = (row["note"], len(series["remarks"]), len(programme["members"]))
        assert row["replicates"] == 3
    assert seen == {"technician": ("the lighter girder", 2, 5), "sponsor": ("", 0, 0)}


def test_a_cell_shows_quantities_and_names(cast, cell):
    (row,) = as_person(cast.lead).get("/api/cells/").json()["results"]
    assert row == {
        "code": "P2-WDS",
        "series": "QV-B",
        "programme": "QUAYSIDE",
        "levels": {"plies": {"value": 2.0, "unit": "1"}, "exposure": "wet–dry salt"},
        "replicates": 3,
        "gain_control": None,
        "conditioning_control": None,
        "note": "the lighter girder",
    }


def test_a_series_shows_factors_and_what_is_missing(cast, cell):
    body = as_person(cast.lead).get("/api/series/QV-B/").json()
    assert [factor["name"] for factor in body["factors"]] == ["plies", "exposure"]
    assert body["factors"][0]["control"] == "0"
    assert body["factors"][1]["levels"][1] == {
        "value": "wet–dry salt",
        "number": None,
        "code": "WDS",
        "label": "",
    }
    assert {remark["kind"] for remark in body["remarks"]} == {
        "gain control",
        "conditioning control",
    }
    assert (body["cell_count"], body["planned"]) == (1, 3)


def _upload(filename: str, content: bytes) -> dict[str, SimpleUploadedFile]:
    return {"file": SimpleUploadedFile(filename, content)}


@pytest.mark.parametrize(("filename", "content"), [("m.csv", csv_file()), ("m.xlsx", xlsx_file())])
def test_a_matrix_file_is_taken_once(filename, content, cast, series):
    client = as_person(cast.lead)
    first = client.post("/api/series/QV-B/matrix/", _upload(filename, content))
    assert first.status_code == 201
    assert (first.json()["created"], first.json()["unchanged"]) == (4, 0)
    assert [cell["code"] for cell in first.json()["cells"]] == [
        "U-LAB",
        "P0-WDS",
        "P2-LAB",
        "P2-WDS",
    ]
    entries = LedgerEntry.objects.count()
    again = client.post("/api/series/QV-B/matrix/", _upload(filename, content))
    assert again.status_code == 200
    assert (again.json()["created"], again.json()["unchanged"]) == (0, 4)
    assert again.json()["cells"] == first.json()["cells"]
    assert LedgerEntry.objects.count() == entries


@pytest.mark.parametrize("way", ["body", "file"])
def test_a_matrix_comes_as_json(way, cast, empty_series):
    client = as_person(cast.lead)
    if way == "body":
        answer = client.post("/api/series/QV-B/matrix/", JSON, format="json")
    else:
        answer = client.post("/api/series/QV-B/matrix/", _upload("m.json", json_file(JSON)))
    assert answer.status_code == 201
    assert answer.json()["created"] == 3
    assert answer.json()["cells"][0]["levels"]["width"] == {"value": 25.4, "unit": "mm"}


def test_a_wrong_file_is_told_row_by_row(cast, series):
    rows = [("3", "laboratory", "3"), ("2", "laboratory", "many")]
    answer = as_person(cast.lead).post("/api/series/QV-B/matrix/", _upload("m.csv", csv_file(rows)))
    assert answer.status_code == 400
    body = answer.json()
    assert body["code"] == "matrix.rows"
    assert [(r["row"], r["column"], r["code"]) for r in body["facts"]["rows"]] == [
        (2, "plies", "matrix.level-unknown"),
        (3, "replicates", "matrix.replicates"),
    ]
    assert all(set(r) == {"row", "column", "code", "message"} for r in body["facts"]["rows"])
    assert Cell.objects.count() == 0


@pytest.mark.parametrize(
    ("body", "kind", "code"),
    [
        ({}, "multipart", "matrix.file-missing"),
        ({"file": "no file"}, "multipart", "matrix.file-missing"),
        ([], "json", "matrix.json-shape"),
        ({"rows": []}, "json", "matrix.json-shape"),
        (7, "json", "matrix.json-shape"),
    ],
)
def test_refuses_a_request_without_a_matrix(body, kind, code, cast, series):
    answer = as_person(cast.lead).post("/api/series/QV-B/matrix/", body, format=kind)
    assert (answer.status_code, answer.json()["code"]) == (400, code)


@pytest.mark.parametrize(
    "content", ['{"cells": [1e999]}', '{"cells": NaN}', "[" * 5000, '{"a', '{"a": "\\ud800"}']
)
def test_refuses_json_that_is_none(content, cast, series):
    answer = as_person(cast.lead).post(
        "/api/series/QV-B/matrix/", content, content_type="application/json"
    )
    assert answer.status_code == 400
    assert answer.json()["message"].endswith(".")


def test_refuses_a_file_that_is_too_large(cast, series):
    answer = as_person(cast.lead).post(
        "/api/series/QV-B/matrix/", _upload("m.csv", b" " * (FILE_MAX_BYTES + 1))
    )
    assert (answer.status_code, answer.json()["code"]) == (413, "matrix.file-too-large")


@pytest.mark.parametrize(
    ("path", "body", "status", "code"),
    [
        ("/api/programmes/", {"code": "QUAYSIDE", "title": "x"}, 409, "programme.code-taken"),
        ("/api/programmes/", {"code": "a b", "title": "x"}, 400, "code.shape"),
        ("/api/programmes/", {"code": "NEW"}, 400, "request.shape"),
        ("/api/programmes/", [], 400, "request.shape"),
        ("/api/series/", {"programme": "QUAYSIDE"}, 400, "request.shape"),
        (
            "/api/series/",
            {"programme": "NONE", "code": "A", "title": "x", "specimen_type": "beam"},
            404,
            "access.not-yours",
        ),
        (
            "/api/series/",
            {
                "programme": "QUAYSIDE",
                "code": "A",
                "title": "x",
                "specimen_type": "beam",
                "route": {"stages": [{"stage": "paint"}]},
            },
            400,
            "route.stage-unknown",
        ),
    ],
)
def test_refusals_have_one_shape(path, body, status, code, cast):
    answer = as_person(cast.lead).post(path, body, format="json")
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert set(answer.json()) == {"code", "message", "facts"}


@pytest.mark.parametrize("path", [*LISTS, "/api/cells/?series=QV-B", *READING])
def test_a_list_asks_the_same_number_of_questions_however_long(path, cast, series):
    client = as_person(cast.lead)
    cell_add(
        actor=cast.lead,
        series=series,
        levels={"plies": 0, "exposure": "laboratory"},
        replicates=1,
        now=NOW,
    )
    with CaptureQueriesContext(
        connection,
    ) as few:
        client.get(path)
    cells_generate(actor=cast.lead, series=series, replicates=2, now=NOW)
    for number in range(3):
        SeriesFactory(programme=cast.programme, code=f"QV-X{number}")
        other = MembershipFactory(
            programme=ProgrammeFactory(code=f"P{number}"), person=cast.lead, role="sponsor"
        )
        SeriesFactory(programme=other.programme)
    with CaptureQueriesContext(connection) as many:
        assert client.get(path).status_code == 200
    assert len(many) <= len(few)


def test_lists_are_pages(cast, series):
    cells_generate(actor=cast.lead, series=series, replicates=2, now=NOW)
    client = as_person(cast.lead)
    first = client.get("/api/cells/?page_size=4").json()
    second = client.get(first["next"]).json()
    codes = [row["code"] for row in first["results"] + second["results"]]
    assert (first["count"], len(first["results"]), second["next"]) == (6, 4, None)
    assert codes == ["P0-LAB", "P0-WDS", "P1-LAB", "P1-WDS", "P2-LAB", "P2-WDS"]
    assert Programme.objects.count() == 2


def test_what_the_matrix_file_of_a_series_says_can_be_sent_to_another(cast, series, client):
    cells_generate(actor=cast.lead, series=series, replicates=2, now=NOW)
    client.force_login(cast.lead, backend="django.contrib.auth.backends.ModelBackend")
    written = json.loads(client.get("/series/QV-B/matrix.json").content)
    SeriesFactory(programme=cast.programme, code="QV-D")
    answer = as_person(cast.lead).post("/api/series/QV-D/matrix/", written, format="json")
    assert (answer.status_code, answer.json()["created"]) == (201, 6)
