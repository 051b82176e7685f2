"""``manage.py setup``: an empty laboratory with its first lead."""

from __future__ import annotations

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from labmatrix.matrix.management.commands import setup
from labmatrix.matrix.models import Programme, Series
from labmatrix.web.domain.roles import Role
from labmatrix.web.domain.unit_systems import SI, US_CUSTOMARY
from labmatrix.web.models import Laboratory, Person
from labmatrix.web.services.laboratory import person_add

pytestmark = pytest.mark.django_db
PASSWORD = "forty-two heavy girders"


def run_setup(**changed):
    asked = {"name": "Test Structures Laboratory", "zone": "Europe/Lisbon", "lead": "lead"}
    call_command("setup", **{**asked, **changed})


@pytest.fixture(autouse=True)
def password(monkeypatch):
    monkeypatch.setenv(setup.PASSWORD_VARIABLE, PASSWORD)


def test_makes_a_laboratory_and_a_lead_who_can_sign_in(capsys):
    run_setup()
    laboratory, lead = Laboratory.objects.get(), Person.objects.get()
    assert (laboratory.name, laboratory.time_zone) == (
        "Test Structures Laboratory",
        "Europe/Lisbon",
    )
    assert not laboratory.is_invented
    assert lead.check_password(PASSWORD)
    assert (lead.role, lead.is_demo) == (Role.LEAD, False)
    assert "Test Structures Laboratory is set up" in capsys.readouterr().out


def test_refuses_a_second_laboratory():
    run_setup()
    with pytest.raises(CommandError, match="already serves Test Structures Laboratory"):
        run_setup(name="Another", lead="other")
    assert Person.objects.count() == 1


@pytest.mark.parametrize(
    ("changed", "words"),
    [({"zone": "Quayside"}, "allowed is an IANA name"), ({"zone": "../etc"}, "allowed is an IANA")],
)
def test_refuses_an_unknown_zone(changed, words):
    with pytest.raises(CommandError, match=words):
        run_setup(**changed)
    assert not Laboratory.objects.exists()


def test_a_weak_password_leaves_nothing_behind(monkeypatch):
    monkeypatch.setenv(setup.PASSWORD_VARIABLE, "short")
    with pytest.raises(CommandError, match="too short"):
        run_setup()
    assert not Laboratory.objects.exists()
    assert not Person.objects.exists()


def test_asks_for_a_password_rather_than_making_one_up(monkeypatch):
    monkeypatch.delenv(setup.PASSWORD_VARIABLE)
    with pytest.raises(CommandError, match="needs a password"):
        run_setup()


def test_asks_twice_in_a_terminal(monkeypatch):
    monkeypatch.delenv(setup.PASSWORD_VARIABLE)
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    answers = iter([PASSWORD, "something else"])
    monkeypatch.setattr("getpass.getpass", lambda prompt: next(answers))
    with pytest.raises(CommandError, match="differ"):
        run_setup()
    assert not Person.objects.exists()


def test_units_are_the_laboratorys_and_each_newcomers_until_they_choose(capsys):
    run_setup(units="us")
    assert Laboratory.objects.get().unit_system == US_CUSTOMARY
    assert Person.objects.get().unit_system == US_CUSTOMARY
    newcomer = person_add(username="student", password=PASSWORD, role=Role.TECHNICIAN)
    assert newcomer.unit_system == US_CUSTOMARY


def test_without_units_the_base_units_are_shown():
    run_setup()
    assert Person.objects.get().unit_system == SI


def test_begins_a_programme_and_its_series_and_says_what_comes_next(capsys):
    run_setup(
        programme="HARBOUR",
        programme_title="Girders of the harbour",
        question="Is it safe?",
        series="HB",
        series_title="Beams",
        specimens="beam",
    )
    programme, series = Programme.objects.get(), Series.objects.get()
    assert (programme.code, programme.sponsor_question) == ("HARBOUR", "Is it safe?")
    assert (series.code, series.specimen_type, series.programme) == ("HB", "beam", programme)
    assert programme.memberships.get().role == "lead"
    said = capsys.readouterr().out
    steps = [line.strip() for line in said.splitlines()[1:]]
    assert steps[0] == "1. Start it: manage.py up"
    for path in ("/sign-in/", "/series/HB/member/", "/series/HB/route/", "/people/invite/"):
        assert any(step.endswith(f"{settings.PUBLIC_URL}{path}") for step in steps), path


@pytest.mark.parametrize(
    ("left", "path"),
    [({}, "/programmes/new/"), ({"programme": "P", "programme_title": "T"}, "/P/series/new/")],
)
def test_what_comes_next_is_what_is_not_there_yet(left, path, capsys):
    run_setup(**left)
    assert f"{path}\n" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"series": "HB", "series_title": "Beams"}, "--series .* --programme"),
        ({"programme": "HARBOUR"}, "--programme .* --programme-title"),
        ({"programme": "harbour", "programme_title": "T"}, "allowed are capital letters"),
        ({"lead": None, "no_input": True}, "Not given: --lead"),
    ],
)
def test_what_does_not_go_together_leaves_nothing_behind(given, words):
    with pytest.raises(CommandError, match=words):
        run_setup(**given)
    assert not Laboratory.objects.exists()
    assert not Person.objects.exists()


def test_asks_in_a_terminal_and_asks_again_where_an_answer_cannot_be(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    answers = {
        "Name": ["", "Pier Laboratory"],
        "Time": ["Nowhere", "Europe/Lisbon"],
        "Units": ["inches", "us"],
        "Sign-in": ["ada"],
        "Code of a": ["PIER"],
        "Its title": ["Old piers"],
        "What": [""],
        "Code of its": [""],
    }

    def answer(words):
        return next(told for begin, told in answers.items() if words.startswith(begin)).pop(0)

    monkeypatch.setattr("builtins.input", answer)
    call_command("setup")
    assert not any(answers.values())
    laboratory = Laboratory.objects.get()
    assert (laboratory.name, laboratory.time_zone, laboratory.unit_system) == (
        "Pier Laboratory",
        "Europe/Lisbon",
        US_CUSTOMARY,
    )
    assert Programme.objects.get().code == "PIER"
    assert not Series.objects.exists()
    said = capsys.readouterr().out
    for words in ("allowed is an IANA name", "allowed are si, us", "a text is needed"):
        assert words in said
