"""People come and go by command."""

from __future__ import annotations

import io

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from labmatrix.web.models import Person

pytestmark = pytest.mark.django_db
PASSWORD = "beams-and-columns-9"


@pytest.fixture(autouse=True)
def _password(monkeypatch):
    monkeypatch.setenv("STRONGFLOOR_PERSON_PASSWORD", PASSWORD)


def said(*arguments: str) -> str:
    out = io.StringIO()
    call_command("person", *arguments, stdout=out)
    return out.getvalue()


def test_someone_is_let_in_and_later_leaves(client):
    assert said("ada", "--role", "technician") == "ada can sign in as technician.\n"
    body = {"username": "ada", "password": PASSWORD}
    token = client.post("/api/token/", body, content_type="application/json").json()["token"]
    header = {"HTTP_AUTHORIZATION": f"Token {token}"}
    assert client.get("/api/programmes/", **header).status_code == 200
    assert "no longer" in said("ada", "--leaves")
    assert client.get("/api/programmes/", **header).status_code == 401
    assert client.post("/api/token/", body, content_type="application/json").status_code == 401
    assert Person.objects.filter(username="ada", is_active=False).exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("ada",), "--role"),
        (("lead", "--role", "lead"), "taken"),
        (("nobody", "--leaves"), "Nobody signs in"),
    ],
)
def test_what_cannot_be_done_is_said(arguments, words):
    Person.objects.create_user(username="lead", password=PASSWORD)
    with pytest.raises(CommandError, match=words):
        said(*arguments)


def test_a_weak_password_is_refused(monkeypatch):
    monkeypatch.setenv("STRONGFLOOR_PERSON_PASSWORD", "password")
    with pytest.raises(CommandError, match="too short"):
        said("ada", "--role", "lead")
    assert not Person.objects.filter(username="ada").exists()


def test_a_leavers_name_is_erased_by_command_as_by_page():
    said("ada", "--role", "technician")
    with pytest.raises(CommandError, match="end the access first"):
        said("ada", "--erase")
    said("ada", "--leaves")
    assert "former technician 1" in said("ada", "--erase")
    assert not Person.objects.filter(username="ada").exists()
    call_command("verify-ledger", stdout=io.StringIO())


def test_the_last_lead_cannot_be_shut_out_by_command():
    said("ada", "--role", "lead")
    with pytest.raises(CommandError, match="only lead of the laboratory"):
        said("ada", "--leaves")
