"""Wrong passwords lock a name at a place for a while, and nobody else."""

from __future__ import annotations

import ipaddress
from datetime import timedelta

import pytest
from axes.models import AccessAttempt
from django.db.models import F
from django.test import Client, RequestFactory

from labmatrix.web.place import request_place

pytestmark = pytest.mark.django_db
RIGHT, WRONG = "a-long-password", "wrong"
HERE, THERE, PROXY = "198.51.100.7", "198.51.100.8", "10.1.0.2"


@pytest.fixture(autouse=True)
def _three_times(cast, settings):
    settings.AXES_FAILURE_LIMIT = 3


def by_page(password: str, name: str = "technician", place: str = HERE, **more) -> int:
    body = {"username": name, "password": password}
    return Client().post("/sign-in/", body, REMOTE_ADDR=place, **more).status_code


def by_api(password: str, name: str = "technician", place: str = HERE, **more) -> int:
    body = {"username": name, "password": password}
    answer = Client().post(
        "/api/token/", body, content_type="application/json", REMOTE_ADDR=place, **more
    )
    return answer.status_code


DOORS = pytest.mark.parametrize(
    ("door", "refused", "open_"), [(by_page, 400, 302), (by_api, 401, 200)], ids=["page", "api"]
)


@DOORS
def test_the_third_wrong_password_locks_and_the_right_one_does_not_open(door, refused, open_):
    assert [door(WRONG) for _ in range(4)] == [refused, refused, 429, 429]
    assert door(RIGHT) == 429


@DOORS
def test_the_other_door_is_locked_too(door, refused, open_):
    for _ in range(3):
        door(WRONG)
    assert (by_page(RIGHT), by_api(RIGHT)) == (429, 429)


@DOORS
def test_it_opens_after_the_cool_off(door, refused, open_):
    for _ in range(3):
        door(WRONG)
    assert door(RIGHT) == 429
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=14))
    assert door(RIGHT) == 429
    # Asking while locked starts the wait again, so that nobody tries on beside it.
    AccessAttempt.objects.update(attempt_time=F("attempt_time") - timedelta(minutes=16))
    assert door(RIGHT) == open_


@DOORS
def test_the_same_name_elsewhere_and_others_here_are_not_affected(door, refused, open_):
    for _ in range(5):
        door(WRONG)
    assert door(RIGHT, place=THERE) == open_
    assert door(RIGHT, name="manager") == open_


@DOORS
def test_a_name_that_nobody_has_is_locked_just_the_same(door, refused, open_):
    assert [door(WRONG, name="nobody") for _ in range(3)] == [refused, refused, 429]


@DOORS
def test_a_right_password_starts_the_count_again(door, refused, open_):
    assert [door(WRONG), door(WRONG), door(RIGHT), door(WRONG), door(WRONG), door(RIGHT)] == [
        refused,
        refused,
        open_,
    ] * 2


def test_the_sentence_says_how_long_and_the_api_has_its_shape():
    body = {"username": "technician", "password": WRONG}
    for _ in range(3):
        page = Client().post("/sign-in/", body)
        told = Client().post("/api/token/", body, content_type="application/json")
    assert "wait 15 minutes" in page.content.decode()
    assert page["Retry-After"] == "900"
    assert set(told.json()) == {"code", "message", "facts"}
    assert told.json()["code"] == "access.locked"


@DOORS
def test_a_forged_forwarded_address_opens_no_lock(door, refused, open_):
    for n in range(3):
        door(WRONG, HTTP_X_FORWARDED_FOR=f"203.0.113.{n}")
    assert door(RIGHT, HTTP_X_FORWARDED_FOR="203.0.113.9") == 429


@DOORS
def test_behind_a_trusted_proxy_each_place_counts_for_itself(door, refused, open_, settings):
    settings.TRUSTED_PROXIES = [ipaddress.ip_network(PROXY)]
    for n in range(3):  # what the asker wrote stands before what the proxy saw
        door(WRONG, place=PROXY, HTTP_X_FORWARDED_FOR=f"203.0.113.{n}, {HERE}")
    assert door(RIGHT, place=PROXY, HTTP_X_FORWARDED_FOR=HERE) == 429
    assert door(RIGHT, place=PROXY, HTTP_X_FORWARDED_FOR=THERE) == open_


@pytest.mark.parametrize(
    ("peer", "told", "trusted", "place"),
    [
        (HERE, "", "", HERE),
        (HERE, THERE, "", HERE),
        (HERE, THERE, PROXY, HERE),
        (PROXY, HERE, PROXY, HERE),
        (PROXY, f"{THERE}, {HERE}", PROXY, HERE),
        (PROXY, f"{HERE}, 10.1.0.3", "10.1.0.0/24", HERE),
        (PROXY, "", PROXY, PROXY),
        (PROXY, "unknown", PROXY, PROXY),
        ("::1", "2001:db8::7", "::1", "2001:db8::7"),
        ("", HERE, PROXY, "127.0.0.1"),
    ],
)
def test_the_place_is_what_the_nearest_trusted_proxy_saw(peer, told, trusted, place, settings):
    settings.TRUSTED_PROXIES = [ipaddress.ip_network(trusted)] if trusted else []
    request = RequestFactory().get("/", REMOTE_ADDR=peer, HTTP_X_FORWARDED_FOR=told)
    assert request_place(request) == place
