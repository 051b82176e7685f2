"""Pages of programmes, series and cells."""

from __future__ import annotations

import html
import re

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from labmatrix.matrix.models import (
    Cell,
    Factor,
    ForbiddenCombination,
    Membership,
    Programme,
    Series,
)
from labmatrix.matrix.services.cell import cell_add, cells_generate
from labmatrix.matrix.services.series import series_change
from labmatrix.web.models import Person
from tests.matrix.conftest import EVERYONE, MEMBERS, NOW, Cast
from tests.matrix.factories import MembershipFactory, PersonFactory, ProgrammeFactory, SeriesFactory
from tests.matrix.files import csv_file

pytestmark = pytest.mark.django_db
BACKEND = "django.contrib.auth.backends.ModelBackend"


def as_person(person: Person) -> Client:
    """A browser in which a person is signed in."""
    client = Client()
    client.force_login(person, backend=BACKEND)
    return client


def words(answer) -> str:
    """A page's text on one line."""
    text = re.sub(r"<[^>]+>", " ", answer.content.decode())
    return re.sub(r" ([.,;:])", r"\1", " ".join(html.unescape(text).split()))


@pytest.fixture
def planned(cast: Cast, series: Series) -> Series:
    """The beam series without its exposed unstrengthened cell."""
    for plies, exposure, replicates in ((0, "laboratory", 3), (2, "laboratory", 3)):
        cell_add(
            actor=cast.lead,
            series=series,
            levels={"plies": plies, "exposure": exposure},
            replicates=replicates,
            now=NOW,
        )
    cell_add(
        actor=cast.lead,
        series=series,
        levels={"plies": 2, "exposure": "wet–dry salt"},
        replicates=4,
        note="the lighter girder",
        now=NOW,
    )
    return series


SEEN = ("/programmes/QUAYSIDE/", "/series/QV-B/", "/series/QV-B/cells/P2-WDS/")
WORK = ("/series/QV-B/matrix.json",)
PLANNED = (
    "/programmes/QUAYSIDE/people/",
    "/programmes/QUAYSIDE/series/new/",
    "/series/QV-B/change/",
    "/series/QV-B/matrix/",
    "/series/QV-B/factors/new/",
    "/series/QV-B/factors/0/",
    "/series/QV-B/factors/1/new/",
    "/series/QV-B/forbidden/new/",
    "/series/QV-B/cells/all/",
    "/series/QV-B/cells/new/",
    "/series/QV-B/cells/P2-WDS/change/",
)


@pytest.mark.parametrize("name", EVERYONE)
@pytest.mark.parametrize("path", [*SEEN, *WORK, *PLANNED])
def test_who_sees_which_page(path, name, cast, planned):
    answer = as_person(cast.of(name)).get(path)
    if name == "gone":
        assert answer.status_code == 302
        assert answer["Location"].startswith("/sign-in/")
        return
    reach = {"lead": (*SEEN, *WORK, *PLANNED), "sponsor": SEEN, "stranger": ()}
    may = path in reach.get(name, (*SEEN, *WORK))
    assert answer.status_code == (200 if may else 404)


@pytest.mark.parametrize("path", ["/", *SEEN, *WORK, *PLANNED, "/programmes/new/"])
def test_nobody_is_asked_to_sign_in(path, client, planned):
    answer = client.get(path)
    assert (answer.status_code, answer["Location"].split("?")[0]) == (302, "/sign-in/")


@pytest.mark.parametrize("path", [*PLANNED, "/series/QV-B/controls/"])
@pytest.mark.parametrize("name", ["manager", "technician", "sponsor", "stranger"])
def test_only_a_lead_may_send_a_form(path, name, cast, planned):
    assert as_person(cast.of(name)).post(path, {}).status_code == 404


@pytest.mark.parametrize(("name", "status"), [("lead", 200), ("stranger", 200), ("manager", 404)])
def test_who_may_start_a_programme(name, status, cast):
    assert as_person(cast.of(name)).get("/programmes/new/").status_code == status


def test_an_empty_house_says_what_to_do_first(db):
    lead = PersonFactory(laboratory_role="lead")
    assert "Start one with its code, its title" in words(as_person(lead).get("/programmes/"))
    technician = PersonFactory(username="newcomer")
    page = words(as_person(technician).get("/programmes/"))
    assert "A lead adds you by your sign-in name, newcomer." in page
    assert "Start a programme" not in page


@pytest.mark.parametrize("name", MEMBERS)
def test_home_lists_a_persons_programmes(name, cast, planned):
    page = words(as_person(cast.of(name)).get("/programmes/"))
    assert "Girders of the harbour viaduct" in page
    assert f"your part: {name}" in page
    assert "1 series, 3 cells, 10 specimens planned" in page
    assert "OTHER" not in page


def test_the_grid_shows_cells_controls_and_gaps(cast, planned):
    page = words(as_person(cast.lead).get("/series/QV-B/"))
    assert "10 specimens planned in 3 of 6 combinations." in page
    assert "P2-WDS 4 planned retention against P2-LAB" in page
    assert "P2-LAB 3 planned gain against P0-LAB" in page
    assert "not planned" in page


def test_a_missing_twin_is_told_in_words_to_those_who_work_in_the_programme(cast, planned):
    sentence = (
        "P2-WDS has no unstrengthened twin with the same conditioning: plies 0, exposure "
        "wet–dry salt is not in the matrix."
    )
    assert sentence in words(as_person(cast.technician).get("/series/QV-B/"))
    assert sentence in words(as_person(cast.technician).get("/series/QV-B/cells/P2-WDS/"))
    assert sentence not in words(as_person(cast.sponsor).get("/series/QV-B/"))
    assert sentence not in words(as_person(cast.sponsor).get("/series/QV-B/cells/P2-WDS/"))


def test_two_chosen_factors_lay_the_grid_out_anew(cast, planned):
    client = as_person(cast.lead)
    page = words(client.get("/series/QV-B/?down=exposure&across=plies"))
    assert "exposure down, plies across" in page
    page = words(client.get("/series/QV-B/?down=nothing&across=%3Cscript%3E&only_0=7"))
    assert "plies down, exposure across" in page


def test_a_note_is_for_those_who_work_in_the_programme(cast, planned):
    path = "/series/QV-B/cells/P2-WDS/"
    assert "the lighter girder" in words(as_person(cast.technician).get(path))
    page = words(as_person(cast.sponsor).get(path))
    assert "the lighter girder" not in page
    assert "Changes to the plan" not in page


def test_a_cell_shows_the_route_of_its_specimens(cast, planned):
    stages = [
        {"stage": "cast"},
        {"stage": "pre-crack", "optional": True},
        {
            "parallel": [
                {"stage": "expose", "regime": {"factor": "exposure"}, "days": 84},
                {"stage": "sustain", "level_percent": 40},
            ],
            "unless": {"exposure": "laboratory"},
        },
    ]
    series_change(
        actor=cast.lead,
        series=planned,
        title=planned.title,
        route={"stages": stages},
        member={"bars": [{"diameter_mm": 12, "count": 3}]},
        responses=[],
        why="drawings came",
        now=NOW,
    )
    client = as_person(cast.lead)
    page = words(client.get("/series/QV-B/cells/P2-WDS/"))
    assert "pre-crack (optional)" in page
    assert "expose: 84 days, regime wet–dry salt while sustain: level 40 %" in page
    assert "expose" not in words(client.get("/series/QV-B/cells/P2-LAB/"))
    assert "count 3, diameter 12 mm" in words(client.get("/series/QV-B/"))


def test_a_route_that_cannot_be_followed_is_told(cast, planned):
    Series.objects.update(route={"stages": [{"stage": "cure", "days": {"factor": "age"}}]})
    client = as_person(cast.lead)
    for path in ("/series/QV-B/", "/series/QV-B/cells/P2-WDS/"):
        assert "names the factor 'age'; the series has exposure, plies." in words(client.get(path))


def test_a_lead_plans_a_programme_from_nothing(db):
    lead = PersonFactory(username="lead", laboratory_role="lead")
    PersonFactory(username="student")
    client = as_person(lead)

    def send(path: str, **data: object) -> str:
        answer = client.post(path, data, follow=True)
        assert answer.redirect_chain, words(answer)
        return words(answer)

    assert "NEW is started" in send("/programmes/new/", code="NEW", title="New")
    assert "student is technician of NEW" in send(
        "/programmes/NEW/people/", username="student", role="technician"
    )
    assert "no longer takes part" in send("/programmes/NEW/people/", username="student", role="")
    page = send(
        "/programmes/NEW/series/new/",
        code="NEW-B",
        title="Beams",
        specimen_type="beam",
        code_template="{series}-{cell}-{n:02d}",
    )
    assert "No matrix yet. Add a first factor" in page
    send(
        "/series/NEW-B/factors/new/",
        name="plies",
        kind="numeric",
        part="strengthening",
        levels="0, 2\n4",
        control="0",
    )
    send(
        "/series/NEW-B/factors/new/",
        name="exposure",
        kind="named",
        part="conditioning",
        levels="laboratory, salt fog",
        control="laboratory",
    )
    send("/series/NEW-B/factors/1/new/", value="freeze–thaw", code="FT")
    send("/series/NEW-B/forbidden/new/", level_0="4", level_1="salt fog", why="no room")
    assert "8 cells are new" in send("/series/NEW-B/cells/all/", replicates="2")
    page = send(
        "/series/NEW-B/cells/P2-FT/change/",
        replicates="3",
        gain_control="P0-FT",
        conditioning_control="",
        note="",
        why="the scatter was large",
    )
    assert "replicates: 2 → 3" in page
    assert "conditioning control: P2-LAB → none" in page
    assert "The scatter was large." in page
    assert "Controls are named for 1 cells." in send("/series/NEW-B/controls/")
    assert Cell.objects.count() == 8
    assert ForbiddenCombination.objects.count() == 1
    assert Membership.objects.filter(programme__code="NEW").count() == 1


def test_a_cell_is_planned_from_its_page(cast, planned):
    client = as_person(cast.lead)
    page = client.get("/series/QV-B/cells/new/?level_0=1&level_1=laboratory").content.decode()
    assert '<option value="1" selected>' in page
    data = {"level_0": "1", "level_1": "laboratory", "replicates": "2"}
    answer = client.post("/series/QV-B/cells/new/", data, follow=True)
    assert "P1-LAB is planned with 2 specimens." in words(answer)
    again = client.post("/series/QV-B/cells/new/", data)
    assert again.status_code == 409
    assert "P1-LAB holds this combination already" in words(again)
    wrong = client.post(
        "/series/QV-B/cells/new/", data | {"level_0": "0", "level_1": "wet–dry salt", "code": "a b"}
    )
    assert "The code is 'A B'" in words(wrong)
    assert 'id="id_code_error"' in wrong.content.decode()


def test_what_a_factor_is_for_is_changed_with_a_reason(cast, planned):
    client = as_person(cast.lead)
    data = {"part": "other", "control": "", "why": "it was a mistake"}
    client.post("/series/QV-B/factors/0/", data)
    factor = Factor.objects.get(name="plies")
    assert (factor.part, factor.levels.filter(is_control=True).count()) == ("other", 0)
    assert client.get("/series/QV-B/factors/7/").status_code == 404


def test_before_anything_is_cast_a_reason_may_be_left_out_and_the_ledger_says_so(cast, planned):
    data = {"replicates": "9", "gain_control": "", "conditioning_control": "", "why": ""}
    answer = as_person(cast.lead).post("/series/QV-B/cells/P2-WDS/change/", data)
    assert answer.status_code == 302
    assert Cell.objects.get(code="P2-WDS").replicates == 9
    page = as_person(cast.lead).get("/series/QV-B/cells/P2-WDS/")
    assert "Changed before anything was cast" in words(page)


def test_the_last_lead_stays_on_the_page_too(cast):
    data = {"username": "lead", "role": "technician"}
    answer = as_person(cast.lead).post("/programmes/QUAYSIDE/people/", data)
    assert "The lead is the only lead of QUAYSIDE" in words(answer)
    unknown = as_person(cast.lead).post(
        "/programmes/QUAYSIDE/people/", {"username": "nobody", "role": "lead"}
    )
    assert "Nobody here signs in as 'nobody'" in words(unknown)


def upload(client: Client, filename: str, content: bytes):
    """Send a file on the page."""
    return client.post(
        "/series/QV-B/matrix/", {"file": SimpleUploadedFile(filename, content)}, follow=True
    )


def test_what_a_series_says_is_changed_with_a_reason(cast, planned):
    path = "/series/QV-B/change/"
    client = as_person(cast.lead)
    data = {
        "title": "Beams",
        "responses": "Peak load, gain\nductility_energy",
        "why": "drawings came",
    }
    page = words(client.post(path, data, follow=True))
    assert "What QV-B says is changed." in page
    assert "peak load, gain, ductility energy" in page
    stored = Series.objects.get(code="QV-B")
    assert stored.responses == ["peak_load", "gain", "ductility_energy"]
    assert "Drawings came." in words(client.get(path))
    refused = client.post(path, data | {"responses": "peak load (kN)", "title": "Others"})
    assert refused.status_code == 400
    assert "A response is 'peak_load_(kn)'" in words(refused)
    assert Series.objects.get(code="QV-B").title == "Beams"


def test_changes_of_people_are_shown_by_name(cast):
    path = "/programmes/QUAYSIDE/"
    client = as_person(cast.lead)
    client.post(f"{path}people/", {"username": "manager", "role": "technician"})
    page = words(client.get(path))
    assert "members: The manager manager → The manager technician" in page
    assert "Changes to the plan" not in words(as_person(cast.sponsor).get(path))


def test_a_matrix_file_is_uploaded(cast, series):
    client = as_person(cast.lead)
    assert "4 cells are new, 0 were there already." in words(upload(client, "m.csv", csv_file()))
    assert "0 cells are new, 4 were there already." in words(upload(client, "m.csv", csv_file()))


def test_what_is_wrong_with_a_file_is_shown_row_by_row(cast, series):
    rows = [("3", "laboratory", "3"), ("2", "laboratory", "many")]
    answer = upload(as_person(cast.lead), "m.csv", csv_file(rows))
    assert answer.status_code == 400
    page = words(answer)
    assert "2 plies plies is '3'; its levels are 0, 1, 2" in page
    assert "3 replicates replicates is 'many'" in page
    assert Cell.objects.count() == 0


@pytest.mark.parametrize(
    ("filename", "content"), [("m.pdf", b"%PDF"), ("m.csv", b""), ("m.xlsx", b"PK\x03\x04")]
)
def test_a_file_that_cannot_be_read_is_refused_with_a_sentence(filename, content, cast, series):
    answer = upload(as_person(cast.lead), filename, content)
    assert answer.status_code == 400
    assert "notice error" in answer.content.decode() or "errorlist" in answer.content.decode()


def test_what_people_write_does_no_harm(cast, planned):
    nasty = "<script>alert(1)</script>"
    Programme.objects.filter(code="QUAYSIDE").update(title=nasty, sponsor_question=nasty)
    Series.objects.update(title=nasty, member={"a": nasty}, responses=[nasty])
    Cell.objects.update(note=nasty)
    client = as_person(cast.lead)
    for path in ("/", *SEEN):
        page = client.get(path).content.decode()
        assert nasty not in page
        assert "&lt;script&gt;" in page


@pytest.mark.parametrize("path", ["/", *SEEN, "/series/QV-B/cells/new/"])
def test_a_page_asks_the_same_number_of_questions_however_much_there_is(path, cast, planned):
    client = as_person(cast.lead)
    client.get(path)
    with CaptureQueriesContext(connection) as few:
        client.get(path)
    cells_generate(actor=cast.lead, series=planned, replicates=2, now=NOW)
    for number in range(3):
        SeriesFactory(programme=cast.programme, code=f"QV-X{number}")
        MembershipFactory(programme=cast.programme)
        MembershipFactory(
            programme=ProgrammeFactory(code=f"P{number}"), person=cast.lead, role="sponsor"
        )
    with CaptureQueriesContext(connection) as many:
        assert client.get(path).status_code == 200
    assert len(many) <= len(few)
