"""Every page and endpoint of this room against every role, a stranger, and nobody."""

from __future__ import annotations

import pytest

from specimens import api_urls, urls
from tests.specimens.access_table import ACCESS, WHO, Access
from tests.specimens.access_world import access_names, asked

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("access", ACCESS, ids=lambda a: f"{a.method} {a.path}")
def test_each_role_gets_what_the_table_says(cast, access: Access):
    names = access_names(cast)
    found = {who: asked(access, who, cast.people, names) for who in WHO}
    assert {who: answer.status_code for who, answer in found.items()} == {
        who: access.status_for(who) for who in WHO
    }
    for who, answer in found.items():
        if answer.status_code in (401, 404) and access.path.startswith("/api/"):
            assert set(answer.json()) == {"code", "message", "facts"}
        if who == "nobody" and answer.status_code == 302:
            assert answer["Location"].startswith("/sign-in/")
        if who == "stranger" and answer.status_code == 404:
            assert names["specimen"] not in answer.content.decode().replace(access.path, "")


def test_the_table_has_every_address_of_the_room():
    told = {a.path.partition("?")[0] for a in ACCESS}
    routes = [f"/api/{p.pattern}" for p in api_urls.urlpatterns]
    routes += [f"/{p.pattern}" for p in urls.urlpatterns]
    names = {
        "<slug:code>": "{specimen}",
        "<uuid:event_id>": "{event}",
        "<uuid:deviation_id>": "{deviation}",
        "<slug:sha256>": "{photo}",
        "<slug:kind>": "layer",
    }
    names |= {"<uuid:test_id>": "{typed}"}
    for route in routes:
        path = route.replace("lots/<slug:code>", "lots/{lot}")
        for shape, name in names.items():
            path = path.replace(shape, name)
        assert path in told, f"{route} is not in the access table"


def test_events_of_a_batch_are_rejected_one_by_one_for_those_who_do_not_log(cast):
    names = access_names(cast)
    [batch] = [a for a in ACCESS if a.method == "POST" and a.path == "/api/events/"]
    told = {who: asked(batch, who, cast.people, names).json() for who in WHO[:5]}
    assert {who: answers[0]["answer"] for who, answers in told.items()} == {
        "lead": "stored",
        "manager": "stored",
        "technician": "stored",
        "sponsor": "rejected",
        "stranger": "rejected",
    }


def test_lists_show_sponsors_and_strangers_nothing_of_the_work(cast):
    names = access_names(cast)
    for path in ("/api/specimens/", "/api/events/", "/api/lots/"):
        access = Access("GET", path, (200, 200, 200, 200, 200, 401))
        for who in ("sponsor", "stranger"):
            assert asked(access, who, cast.people, names).json()["count"] == 0
    page = Access("GET", "/specimens/", (200, 200, 200, 200, 200, 302))
    for who in ("sponsor", "stranger"):
        assert names["specimen"] not in asked(page, who, cast.people, names).content.decode()
