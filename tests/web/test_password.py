"""Change a password, and get a new one by a letter."""

from __future__ import annotations

import re
import threading
from datetime import UTC, datetime, timedelta

import pytest
from django.core import mail
from django.test import Client

from labmatrix.evidence.models import LedgerEntry
from labmatrix.kernel.errors import TooOften
from labmatrix.web.models import PasswordAsked, Person
from labmatrix.web.services.password import LINK_GONE, reset_ask

pytestmark = pytest.mark.django_db
OLD, NEW = "a-long-password", "seven spans of steel"
SAME = "If someone here has this address, a letter is on its way."


@pytest.fixture
def ida(cast) -> Person:
    person = cast.technician
    person.email = "ida@floor.example"
    person.save()
    return person


def sent() -> list:
    """The letters, once those on their way have arrived."""
    for thread in threading.enumerate():
        if thread.name == "letters":
            thread.join(10)
    return mail.outbox


def asked_for(address: str, client: Client | None = None):
    return (client or Client()).post("/password/", {"address": address})


def link_in(letter) -> str:
    found = re.search(r"http://127\.0\.0\.1:\d+(/password/\S+)", letter.body)
    assert found, letter.body
    return found[1]


def signs_in(password: str) -> bool:
    client = Client()
    client.post("/sign-in/", {"username": "technician", "password": password})
    return "_auth_user_id" in client.session


def test_a_letter_brings_a_new_password_once(ida):
    asked_for("Ida@Floor.Example")
    (letter,) = sent()
    assert letter.to == ["ida@floor.example"]
    link = link_in(letter)
    assert "technician" in Client().get(link).content.decode()
    answer = Client().post(link, {"password": NEW, "again": NEW})
    assert (answer.status_code, answer.headers["Location"]) == (302, "/sign-in/")
    assert signs_in(NEW)
    assert not signs_in(OLD)
    again = Client().post(
        link, {"password": "another nine girders", "again": "another nine girders"}
    )
    assert again.status_code == 404
    assert LINK_GONE in again.content.decode()
    entry = LedgerEntry.objects.get(subject=f"person/{ida.pk}")
    assert "password set by letter" in entry.content
    assert "ida" not in entry.content


def test_the_answer_is_the_same_whether_anyone_has_the_address(ida):
    def page(address: str) -> tuple[int, str]:
        answer = asked_for(address)
        return answer.status_code, re.sub(r'nonce="[^"]*"', "", answer.content.decode())

    known, unknown = page("ida@floor.example"), page("nobody@floor.example")
    assert known == unknown
    assert SAME in known[1]
    assert [letter.to for letter in sent()] == [["ida@floor.example"]]


def test_a_leaver_gets_no_letter_and_an_old_letter_no_longer_works(ida):
    asked_for("ida@floor.example")
    link = link_in(sent()[0])
    ida.is_active = False
    ida.save()
    assert Client().get(link).status_code == 404
    asked_for("ida@floor.example")
    assert len(sent()) == 1


def test_a_letter_runs_out(ida, settings):
    asked_for("ida@floor.example")
    link = link_in(sent()[0])
    settings.PASSWORD_RESET_TIMEOUT = -1
    assert Client().get(link).status_code == 404


def test_a_changed_address_or_password_spoils_the_letter(ida):
    asked_for("ida@floor.example")
    link = link_in(sent()[0])
    ida.email = "other@floor.example"
    ida.save()
    assert Client().get(link).status_code == 404


def test_nobodys_letter_box_is_filled(ida):
    for _ in range(5):
        assert SAME in asked_for("ida@floor.example").content.decode()
    assert len(sent()) == 3


def test_one_place_asks_so_often_and_no_more(ida):
    now = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)
    for n in range(20):
        reset_ask(address=f"n{n}@floor.example", place="10.1.1.7", now=now)
    with pytest.raises(TooOften, match="allowed are 20 an hour"):
        reset_ask(address="ida@floor.example", place="10.1.1.7", now=now)
    assert reset_ask(address="ida@floor.example", place="10.1.1.8", now=now)
    later = now + timedelta(hours=1, seconds=1)
    assert reset_ask(address="ida@floor.example", place="10.1.1.7", now=later)
    assert PasswordAsked.objects.count() == 2


def test_what_is_kept_of_an_asking_is_a_digest(ida):
    asked_for("ida@floor.example")
    assert all(
        re.fullmatch("[0-9a-f]{64}", key) for (key,) in PasswordAsked.objects.values_list("key")
    )


def test_too_often_is_a_sentence_and_429(ida, settings):
    settings.PASSWORD_RESETS_FROM_A_PLACE = 1
    asked_for("a@floor.example")
    answer = asked_for("b@floor.example")
    assert answer.status_code == 429
    assert "too often from this place" in answer.content.decode()


def test_a_letter_says_who_was_locked_out_that_the_lock_is_lifted(ida, settings):
    settings.AXES_FAILURE_LIMIT = 2
    for _ in range(3):
        Client().post("/sign-in/", {"username": "technician", "password": "wrong"})
    assert not signs_in(OLD)
    asked_for("ida@floor.example")
    Client().post(link_in(sent()[0]), {"password": NEW, "again": NEW})
    assert signs_in(NEW)


@pytest.mark.parametrize(
    ("password", "again", "words"),
    [
        (NEW, f"{NEW}!", "The two passwords differ"),
        ("short", "short", "too short"),
        ("technician-1", "technician-1", "too similar"),
    ],
)
def test_a_weak_or_mistyped_password_is_refused_on_every_page(ida, password, again, words):
    signed_in = Client()
    signed_in.force_login(ida)  # signing in spoils earlier letters
    asked_for("ida@floor.example")
    link = link_in(sent()[0])
    for answer in (
        Client().post(link, {"password": password, "again": again}),
        signed_in.post("/me/password/", {"present": OLD, "password": password, "again": again}),
    ):
        assert answer.status_code == 400
        assert words in answer.content.decode()
    assert signs_in(OLD)


def test_a_change_ends_every_other_device_and_token_and_tells_the_person(ida):
    here, there = Client(), Client()
    for client in (here, there):
        client.post("/sign-in/", {"username": "technician", "password": OLD})
    body = {"username": "technician", "password": OLD}
    token = here.post("/api/token/", body, content_type="application/json").json()["token"]
    asked = {"present": OLD, "password": NEW, "again": NEW}
    assert here.post("/me/password/", asked).status_code == 302
    assert here.get("/me/").status_code == 200
    assert there.get("/me/").status_code == 302
    header = {"HTTP_AUTHORIZATION": f"Token {token}"}
    assert Client().get("/api/programmes/", **header).status_code == 401
    (letter,) = sent()
    assert "was changed just now" in letter.body
    assert NEW not in letter.body


def test_a_wrong_present_password_changes_nothing(ida):
    client = Client()
    client.force_login(ida)
    answer = client.post("/me/password/", {"present": "no", "password": NEW, "again": NEW})
    assert "The present password is another one" in answer.content.decode()
    assert signs_in(OLD)


def test_the_link_never_follows_a_forged_host_header(ida, settings):
    settings.ALLOWED_HOSTS = ["*"]
    Client().post("/password/", {"address": "ida@floor.example"}, HTTP_HOST="evil.example")
    assert "evil.example" not in sent()[0].body
