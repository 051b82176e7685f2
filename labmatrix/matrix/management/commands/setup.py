"""``manage.py setup``: an empty laboratory with its first lead and, if wanted, a first series."""

from __future__ import annotations

import getpass
import os
import sys
from argparse import ArgumentParser
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.urls import reverse

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.domain.code import PROGRAMME_CODE_MAX, SERIES_CODE_MAX, check_code
from labmatrix.matrix.domain.wording import check_text
from labmatrix.matrix.models import Series
from labmatrix.matrix.services.programme import TITLE_MAX, programme_create
from labmatrix.matrix.services.series import series_create
from labmatrix.web.domain.roles import Role
from labmatrix.web.domain.sign_in_name import check_sign_in_name
from labmatrix.web.domain.unit_systems import SI, US_CUSTOMARY
from labmatrix.web.models import Person
from labmatrix.web.services.laboratory import laboratory_setup, person_add
from labmatrix.web.start import migration_refusal
from labmatrix.web.zones import check_zone

PASSWORD_VARIABLE = "STRONGFLOOR_LEAD_PASSWORD"  # noqa: S105
NO_PASSWORD = f"The lead needs a password: set {PASSWORD_VARIABLE}, or run this in a terminal."
NOT_THE_SAME = "The two passwords differ; nothing was set up."
MISSING = "Not given: {missing}. Give them as options, or run this in a terminal, which asks."
ALONE = "--{needs} is of use only together with --{other}; nothing was set up."
UNITS = {"si": SI, "us": US_CUSTOMARY}
NEEDED = ("name", "zone", "lead")
# What is of no use without another: option, and what it needs.
TOGETHER = (
    ("programme", "programme_title"),
    ("programme_title", "programme"),
    ("question", "programme"),
    ("series", "programme"),
    ("series", "series_title"),
    ("series_title", "series"),
)


@dataclass(frozen=True)
class Question:
    """Something asked in a terminal: which option it fills, its words, and what it may be."""

    option: str
    words: str
    check: Callable[[str], Any]
    usual: str = ""
    after: str = ""
    """Option without which it is not asked."""


def _text(argument: str, at_most: int, *, may_be_empty: bool = False) -> Callable[[str], str]:
    return lambda said: check_text(
        said, argument=argument, at_most=at_most, may_be_empty=may_be_empty
    )


def _code(argument: str, at_most: int) -> Callable[[str], str]:
    return lambda said: check_code(said, argument=argument, at_most=at_most) if said else ""


def _choice(words: str, choices: tuple[str, ...]) -> Callable[[str], str]:
    def check(said: str) -> str:
        if said not in choices:
            raise CommandError(f"{words} is {said!r}; allowed are {', '.join(choices)}.")
        return said

    return check


TYPES = tuple(Series.SpecimenType.values)
QUESTIONS = (
    Question("name", "Name of the laboratory, as on reports", _text("The name", 120)),
    Question("zone", "Time zone, such as Europe/Lisbon", check_zone, settings.DISPLAY_TIME_ZONE),
    Question("units", "Units, si or us (customary)", _choice("Units", tuple(UNITS)), "si"),
    Question("lead", "Sign-in name of the first lead", check_sign_in_name),
    Question(
        "programme",
        "Code of a first programme, such as HARBOUR; nothing to leave it for later",
        _code("The programme's code", PROGRAMME_CODE_MAX),
    ),
    Question("programme_title", "Its title", _text("The title", TITLE_MAX), after="programme"),
    Question(
        "question",
        "What its sponsor wants to know; may be left out",
        _text("The question", 4000, may_be_empty=True),
        after="programme",
    ),
    Question(
        "series",
        "Code of its first series, which begins every label, such as HB; nothing for later",
        _code("The series' code", SERIES_CODE_MAX),
        after="programme",
    ),
    Question("series_title", "Its title", _text("The title", TITLE_MAX), after="series"),
    Question(
        "specimens",
        f"Its specimens: {', '.join(TYPES)}",
        _choice("The specimens", TYPES),
        TYPES[0],
        after="series",
    ),
)


class Command(BaseCommand):
    """Name the laboratory, let one person in, and begin a programme where one is told."""

    help = (
        "Set up an empty laboratory: name, time zone, units, first lead and, if wanted, a first "
        "programme and series. What is left out of name, zone and lead is asked for in a terminal."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        """What a laboratory cannot do without, and what it may begin with."""
        parser.add_argument("--name", help="name of the laboratory, as on reports")
        parser.add_argument("--zone", help="IANA time zone, such as Europe/Lisbon")
        parser.add_argument("--lead", help="sign-in name of the first lead")
        parser.add_argument(
            "--units", choices=list(UNITS), help="shown to whoever has not chosen: si (usual) or us"
        )
        parser.add_argument("--programme", help="code of a first programme, such as HARBOUR")
        parser.add_argument("--programme-title", help="its title")
        parser.add_argument("--question", help="what its sponsor wants to know")
        parser.add_argument("--series", help="code of its first series, such as HB")
        parser.add_argument("--series-title", help="the series' title")
        parser.add_argument("--specimens", choices=TYPES, help="what the series is made of: beam")
        parser.add_argument("--no-input", action="store_true", help="ask nothing")

    def handle(self, *args: Any, **options: Any) -> None:
        """All or nothing."""
        refusal = migration_refusal()
        if refusal:
            raise CommandError(refusal)
        asked = self._asked(options)
        password = _password(may_ask=not options["no_input"])
        try:
            with transaction.atomic():
                _set_up(asked, password)
        except UserError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{asked['name']} is set up. What to do next:")
        for number, step in enumerate(next_steps(asked), start=1):
            self.stdout.write(f"{number:>3}. {step}")

    def _asked(self, options: dict[str, Any]) -> dict[str, Any]:
        asked = {question.option: options[question.option] for question in QUESTIONS}
        missing = [f"--{name}" for name in NEEDED if not asked[name]]
        if missing:
            if options["no_input"] or not sys.stdin.isatty():
                raise CommandError(MISSING.format(missing=", ".join(missing)))
            self._ask(asked)
        for needs, other in TOGETHER:
            if asked[needs] and not asked[other]:
                told = {"needs": needs.replace("_", "-"), "other": other.replace("_", "-")}
                raise CommandError(ALONE.format(**told))
        return {**asked, "units": asked["units"] or "si", "specimens": asked["specimens"] or "beam"}

    def _ask(self, asked: dict[str, Any]) -> None:
        """Fill in what is not given, asking again where an answer cannot be."""
        for question in QUESTIONS:
            wanted = not question.after or asked[question.after]
            while asked[question.option] is None and wanted:
                usual = f" [{question.usual}]" if question.usual else ""
                said = input(f"{question.words}{usual}: ").strip() or question.usual
                try:
                    asked[question.option] = question.check(said)
                except (UserError, CommandError) as error:
                    self.stdout.write(getattr(error, "message", str(error)))


def _set_up(asked: dict[str, Any], password: str) -> None:
    at = now()
    laboratory_setup(name=asked["name"], time_zone=asked["zone"], unit_system=UNITS[asked["units"]])
    lead = person_add(username=asked["lead"], password=password, role=Role.LEAD, now=at)
    if asked["programme"]:
        _begin(asked, lead)


def _begin(asked: dict[str, Any], lead: Person) -> None:
    programme = programme_create(
        actor=lead,
        code=asked["programme"],
        title=asked["programme_title"],
        sponsor_question=asked["question"] or "",
        now=now(),
    )
    if asked["series"]:
        series_create(
            actor=lead,
            programme=programme,
            code=asked["series"],
            title=asked["series_title"],
            specimen_type=asked["specimens"],
            now=now(),
        )


def next_steps(asked: dict[str, Any]) -> list[str]:
    """What to do next, in sentences with addresses.

    Args:
        asked: the options, ``programme`` and ``series`` None or empty where they come later.
    """

    def at(name: str, *codes: str) -> str:
        return f"{settings.PUBLIC_URL.rstrip('/')}{reverse(f'matrix:{name}', args=codes)}"

    door = f"{settings.PUBLIC_URL.rstrip('/')}{reverse('web:person-sign-in')}"
    steps = ["Start it: manage.py up", f"Sign in as {asked['lead']}: {door}"]
    programme, series = asked["programme"], asked["series"]
    if not programme:
        steps.append(f"Start a programme: {at('programme-new')}")
    elif not series:
        steps.append(f"Start a series of {programme}: {at('series-new', programme)}")
    if series:
        steps += [
            f"Say what a specimen of {series} is made of: {at('member-edit', series)}",
            f"Say what is done to it, step by step: {at('route-edit', series)}",
            f"Plan its matrix: {at('series-detail', series)}",
        ]
    steps.append(f"Invite the others: {at('person-invite')}")
    steps.append("The first page after signing in says at every stage what comes next.")
    return steps


def _password(*, may_ask: bool) -> str:
    given = os.environ.get(PASSWORD_VARIABLE, "")
    if given:
        return given
    if not may_ask or not sys.stdin.isatty():
        raise CommandError(NO_PASSWORD)
    first = getpass.getpass("Password of the first lead: ")
    if getpass.getpass("Once more: ") != first:
        raise CommandError(NOT_THE_SAME)
    return first
