"""What a person chooses for their own pages, and that every page follows."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from django.template import Context, Template
from django.utils import timezone

from labmatrix.kernel.errors import RangeError, ShapeError
from labmatrix.web import forms
from labmatrix.web.services.choices import choices_set
from tests.specimens.scene import Scene

pytestmark = pytest.mark.django_db
CHOSEN = {
    "display_name": "Rig hand",
    "email": "rig@floor.example",
    "unit_system": "US customary",
    "time_zone": "Asia/Kathmandu",
    "theme": "dark",
}


def text_of(client, path: str = "/me/") -> str:
    return str(client.get(path).content.decode())


def test_units_zone_and_light_are_kept_and_every_page_says_them(cast: Scene, client):
    client.force_login(cast.technician)
    assert client.post("/me/", CHOSEN)["Location"] == "/me/"
    for path in ("/me/", "/", "/specimens/"):
        page = text_of(client, path)
        assert '<html lang="en" data-theme="dark">' in page
        assert "Units: US customary" in page
        assert "Times: Asia/Kathmandu" in page
        assert "Rig hand" in page


def test_before_any_choice_pages_follow_si_the_laboratory_and_the_system(cast: Scene, client):
    client.force_login(cast.technician)
    page = text_of(client)
    assert '<html lang="en">' in page
    assert "Units: SI" in page
    assert "Times: Europe/Oslo" in page


def test_an_instant_is_shown_in_the_zone_of_who_looks(cast: Scene, client):
    specimen = cast.specimen("P2")
    cast.log(specimen.code, "cast", 0, {"batch": "C-01"})  # at 08:00 UTC
    path = f"/specimens/{specimen.code}/"
    for person, shown in (("lead", "2026-01-05 09:00"), ("technician", "2026-01-05 13:45")):
        if person == "technician":
            choices_set(actor=cast.technician, **CHOSEN)
        client.force_login(cast.people[person])
        assert shown in text_of(client, path)


def test_what_is_typed_into_a_form_is_read_in_the_same_zone(cast: Scene, client):
    specimen = cast.specimen("P2")
    choices_set(actor=cast.technician, **CHOSEN)
    client.force_login(cast.technician)
    body = {
        "event_id": "01900000-0000-7000-8000-00000000aaaa",
        "occurred_at": "2026-03-01T13:45:00",
        "text": "seen",
    }
    assert client.post(f"/specimens/{specimen.code}/log/note/", body).status_code == 302
    (event,) = specimen.subject.events.filter(kind="note")
    assert event.occurred_at == datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


def test_the_zone_of_one_request_does_not_leak_into_the_next(cast: Scene, client):
    before = timezone.get_current_timezone_name()
    choices_set(actor=cast.technician, **CHOSEN)
    client.force_login(cast.technician)
    text_of(client)
    assert timezone.get_current_timezone_name() == before


def test_a_load_turns_into_kips_in_a_figure_and_in_its_table():
    payload: dict[str, object] = {
        "data": [{"x": [25.4], "y": [4.4482216152605]}],
        "layout": {},
        "kind": "load-deflection",
    }
    table = {"columns": [{"label": "Load", "unit": "kN"}], "rows": [[44.4822]]}
    source = Template("{% figure number=1 caption='Load.' payload=payload table=table %}")
    context = {"payload": payload, "table": table}
    american = source.render(Context({**context, "unit_system": "US customary"}))
    assert '<span class="unit">kip</span>' in american
    assert '"text": "Load (kip)"' in american
    assert '"text": "Deflection (in)"' in american
    assert '"y": [1.0]' in american
    assert '"y": [4.4482216152605]' in source.render(Context(context))


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("unit_system", "furlongs", forms.NOT_OFFERED),
        ("unit_system", "", forms.NOT_OFFERED),
        ("time_zone", "Moon/Crater", forms.NOT_OFFERED),
        ("theme", "mauve", forms.NOT_OFFERED),
        ("email", "no address", forms.NOT_AN_ADDRESS),
    ],
)
def test_what_is_not_offered_is_refused_in_words_of_our_own(cast, client, name, value, sentence):
    client.force_login(cast.technician)
    answer = client.post("/me/", {**CHOSEN, name: value})
    assert answer.status_code == 400
    assert sentence in answer.content.decode()
    cast.technician.refresh_from_db()
    assert cast.technician.time_zone == ""


def test_the_service_refuses_them_too(cast: Scene):
    for name in ("unit_system", "theme"):
        with pytest.raises(RangeError):
            choices_set(actor=cast.technician, **{**CHOSEN, name: "x"})
    with pytest.raises(ShapeError) as refused:
        choices_set(actor=cast.technician, **{**CHOSEN, "time_zone": "../etc/passwd"})
    assert refused.value.code == "laboratory.time-zone"


def test_the_sign_in_page_says_what_is_missing_in_its_own_words(cast: Scene, client):
    page = client.post("/sign-in/", {}).content.decode()
    assert forms.NAME_MISSING in page
    assert forms.PASSWORD_MISSING in page
    assert "This field is required" not in page
