"""``manage.py setup``: an empty laboratory with its first lead."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from labmatrix.web.domain.roles import Role
from labmatrix.web.management.commands import setup
from labmatrix.web.models import Laboratory, Person

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
