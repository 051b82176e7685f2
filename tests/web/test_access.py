"""The doors of the house against every role, a stranger, and nobody."""

from __future__ import annotations

import pytest

from tests.results.scene import scene
from tests.specimens.access_table import WHO, Access
from tests.specimens.access_world import asked
from tests.web.access_table import ACCESS

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("access", ACCESS, ids=lambda a: f"{a.method} {a.path} {a.statuses[0]}")
def test_each_role_gets_what_the_table_says(access: Access):
    cast = scene()
    people = {who: getattr(cast, who) for who in WHO if who != "nobody"}
    found = {who: asked(access, who, people, {}).status_code for who in WHO}
    assert found == {who: access.status_for(who) for who in WHO}


def test_a_token_signs_a_script_in_until_it_expires(client, settings):
    cast = scene()
    body = {"username": "technician", "password": "a-long-password"}
    answer = client.post("/api/token/", body, content_type="application/json")
    header = {"HTTP_AUTHORIZATION": f"Token {answer.json()['token']}"}
    assert client.get("/api/programmes/", **header).json()["count"] == 1
    cast.technician.tokens.update(expires_at="2020-01-01T00:00:00Z")
    late = client.get("/api/programmes/", **header)
    assert late.status_code == 401
    assert late.json()["code"] == "access.sign-in"


def test_someone_who_has_left_gets_in_neither_by_password_nor_by_token(client):
    cast = scene()
    body = {"username": "technician", "password": "a-long-password"}
    token = client.post("/api/token/", body, content_type="application/json").json()["token"]
    cast.technician.is_active = False
    cast.technician.save()
    assert client.post("/api/token/", body, content_type="application/json").status_code == 401
    assert client.get("/api/programmes/", HTTP_AUTHORIZATION=f"Token {token}").status_code == 401


def test_only_the_digest_of_a_token_is_kept(client):
    cast = scene()
    body = {"username": "technician", "password": "a-long-password"}
    token = client.post("/api/token/", body, content_type="application/json").json()["token"]
    (kept,) = cast.technician.tokens.all()
    assert token not in kept.digest
    assert len(kept.digest) == 64
