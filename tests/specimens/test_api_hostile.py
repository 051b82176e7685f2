"""What no honest device sends is answered with a sentence, never with a fault of ours."""

from __future__ import annotations

import json

import pytest
from django.test import Client

from labmatrix.kernel.text import check_storable
from labmatrix.web.parsers import DEPTH_MAX
from specimens.models import Event
from specimens.services import event as event_service
from tests.specimens.scene import new_id, raw_event

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(cast):
    found = Client(raise_request_exception=True)
    found.force_login(cast.lead)
    return found


def post(client, body, address="/api/events/", content_type="application/json"):
    answer = client.post(address, body, content_type=content_type)
    found = answer.json()
    for said in [found] if isinstance(found, dict) else found:
        check_storable(said, argument="the answer")
    return answer.status_code, found


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b"{", "request.not-json"),
        (b"not json at all", "request.not-json"),
        (b"\xff\xfe{}", "request.not-json"),
        (b'{"id": NaN}', "request.not-json"),
        (b'{"id": -Infinity}', "request.not-json"),
        (b'{"id": 1e400}', "request.not-json"),
        (b'{"sequence": ' + b"9" * 5000 + b"}", "request.not-json"),
        (b'{"sequence": -' + b"9" * 400 + b"}", "request.not-json"),
        (b"[" * 100_000, "request.too-deep"),
        (b"[" * (DEPTH_MAX + 1) + b"]" * (DEPTH_MAX + 1), "request.too-deep"),
        (b'{"a":' * 60 + b"1" + b"}" * 60, "request.too-deep"),
        (b"7", "event.batch"),
        (b'"an event"', "event.batch"),
        (b"null", "event.batch"),
    ],
)
def test_a_body_that_is_no_batch_is_refused(client, body, code):
    status, found = post(client, body)
    assert (status, found["code"]) == (400, code)
    assert found["message"].endswith(".")


def test_nothing_at_all_is_one_event_without_anything(client):
    status, [found] = post(client, b"")
    assert (status, found["answer"]) == (200, "rejected")


def test_a_form_is_no_event(client):
    status, found = post(client, "id=7", content_type="application/x-www-form-urlencoded")
    assert (status, found["code"]) == (415, "request.unsupported_media_type")


def test_a_body_beyond_the_limit_is_too_large(client, settings):
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 1000
    status, found = post(client, json.dumps(["x" * 2000]))
    assert (status, found["code"]) == (413, "request.too-large")


def test_a_huge_batch_is_refused(client, monkeypatch):
    monkeypatch.setattr(event_service, "BATCH_MAX", 50)
    status, found = post(client, json.dumps([{}] * 51))
    assert (status, found["code"]) == (400, "event.batch")
    assert "51" in found["message"]


NUL, HALF = "a\x00b", "\ud800"
BAD_FIELDS = [
    ("id", NUL),
    ("id", HALF),
    ("id", "x" * 100_000),
    ("id", 7),
    ("id", None),
    ("id", ["x"]),
    ("subject", NUL),
    ("subject", HALF),
    ("subject", []),
    ("subject", {}),
    ("subject", None),
    ("subject", "x" * 100_000),
    ("kind", NUL),
    ("kind", {}),
    ("kind", None),
    ("kind", "k" * 100_000),
    ("occurred_at", NUL),
    ("occurred_at", HALF),
    ("occurred_at", 20260105),
    ("occurred_at", "0001-01-01T00:00:00+14:00"),
    ("occurred_at", "9999-12-31T23:59:59-14:00"),
    ("occurred_at", "2026-01-05T08:00:00"),
    ("device_at", "yesterday"),
    ("device", NUL),
    ("device", 7),
    ("device", "d" * 41),
    ("sequence", 2**62),
    ("sequence", -1),
    ("sequence", 1.5),
    ("sequence", True),
    ("payload", NUL),
    ("payload", []),
    ("payload", {"text": NUL}),
    ("payload", {"text": HALF}),
    ("payload", {NUL: "text"}),
    ("payload", {"text": "t" * 2001}),
    ("payload", {"text": 10**299}),
    ("corrects", NUL),
    ("corrects", 7),
    ("corrects", ["x"]),
    ("unknown", 1),
    (HALF, 1),
]


@pytest.mark.parametrize(("field", "value"), BAD_FIELDS)
def test_a_field_that_does_not_fit_rejects_its_event_alone(cast, client, field, value):
    specimen = cast.specimen()
    good = raw_event(specimen.code, "note", 0, {"text": "fine"})
    bad = {**raw_event(specimen.code, "note", 0, {"text": "fine"}), field: value}
    status, found = post(client, json.dumps([bad, good]))
    assert status == 200
    assert [told["answer"] for told in found] == ["rejected", "stored"]
    assert len(found[0]["error"]["message"]) < 1000
    assert len(found[0]["id"]) <= 60
    assert Event.objects.count() == 1


@pytest.mark.parametrize(
    ("kind", "payload"),
    [
        ("counted", {"cycles": 10**11}),
        ("counted", {"cycles": -1}),
        ("loaded", {"load": {"value": 10**299, "unit": "kN"}, "reference": "-"}),
        ("loaded", {"load": {"value": 1e13, "unit": "kN"}, "reference": "-"}),
        ("loaded", {"load": {"value": 3, "unit": "parsec"}, "reference": "-"}),
        ("loaded", {"load": {"value": 3, "unit": "mm"}, "reference": "-"}),
        ("loaded", {"load": {"value": "3", "unit": "kN"}, "reference": "-"}),
        ("layer", {"kind": "fabric", "lot": "F", "ply": 10**200}),
        ("origin", {"how": "cored", "date": "0001-01-01"}),
        ("origin", {"how": "cored", "date": "2026-02-30"}),
        ("photo", {"blob": "../../etc/passwd"}),
        ("checklist", {"name": "x", "answers": {"q": {"nested": True}}}),
        ("checklist", {"name": "x", "answers": [1]}),
        ("judged", {"deviation": "x", "decision": "accept", "why": "w"}),
    ],
)
def test_a_payload_that_does_not_fit_is_said_field_by_field(cast, client, kind, payload):
    specimen = cast.specimen()
    status, [found] = post(client, json.dumps([raw_event(specimen.code, kind, 0, payload)]))
    assert (status, found["answer"]) == (200, "rejected")
    assert found["error"]["code"] == "event.payload"
    assert found["error"]["facts"]["fields"]


@pytest.mark.parametrize(
    "body",
    [
        b"[]",
        b'{"series": "QS", "cell": ["P2"]}',
        b'{"series": "\\u0000", "cell": "P2"}',
        b'{"series": "\\ud800", "cell": "P2"}',
        b'{"series": "QS", "cell": "P2", "measured": {"fc_mpa": 1e300}}',
        b'{"series": "QS", "cell": "P2", "measured": {"fc_mpa": ' + b"9" * 290 + b"}}",
        b'{"series": "QS", "cell": "P2", "measured": {"note": "\\u0000"}}',
        b'{"series": "QS", "cell": "P2", "measured": {"\\ud800": 1}}',
        b'{"series": "QS", "cell": "P2", "measured": []}',
        b'{"series": "QS", "cell": "P2", "locations": ["\\u0000"]}',
        b'{"series": "QS", "cell": "P2", "count": 1e300}',
    ],
)
def test_specimens_are_not_created_from_nonsense(client, body):
    status, found = post(client, body, "/api/specimens/")
    assert status == 400
    assert found["code"]


@pytest.mark.parametrize(
    "address",
    [
        "/api/specimens/?series=%00",
        "/api/specimens/?stage=%00",
        "/api/specimens/?page=0",
        "/api/specimens/?page=x",
        "/api/specimens/?page=99999999999999999999",
        "/api/specimens/%00/",
        "/api/specimens/QS-P2-99/",
        "/api/events/?subject=%00",
        "/api/events/?kind=%00",
        "/specimens/?series=%00",
        "/specimens/?stage=%00&page=x",
    ],
)
def test_an_address_of_nonsense_is_answered_in_words(client, address):
    answer = client.get(address)
    assert answer.status_code in (400, 404)
    if address.startswith("/api/"):
        assert answer.json()["message"]


def test_the_answer_names_an_unstorable_id_readably(client):
    _, [found] = post(client, json.dumps([{"id": HALF}]))
    assert found["id"] == "?"
    assert new_id() != found["id"]
