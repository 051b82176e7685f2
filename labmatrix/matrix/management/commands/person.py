"""``manage.py person``: let someone in, see a leaver out, erase a name; as the pages do."""

from __future__ import annotations

import getpass
import os
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.services.people import person_erase, person_leave
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import Person
from labmatrix.web.services.laboratory import person_add

PASSWORD_VARIABLE = "STRONGFLOOR_PERSON_PASSWORD"  # noqa: S105


class Command(BaseCommand):
    """Adds a person with a role in the laboratory; ``--leaves`` and ``--erase`` see one out."""

    help = "Add someone who can sign in, end the access of a leaver, or erase a leaver's name."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Who, and what."""
        parser.add_argument("name", help="sign-in name")
        asked = parser.add_mutually_exclusive_group()
        asked.add_argument("--role", choices=[str(r) for r in Role], help="part in the laboratory")
        asked.add_argument("--leaves", action="store_true", help="end the person's access")
        asked.add_argument("--erase", action="store_true", help="put a pseudonym for the name")

    def handle(self, *args: Any, **options: Any) -> None:
        """One of the three."""
        name = options["name"]
        try:
            if options["leaves"]:
                said = _leave(name)
            elif options["erase"]:
                said = _erase(name)
            else:
                said = _add(name, options["role"])
        except UserError as error:
            raise CommandError(error.message) from error
        self.stdout.write(said)


def _leave(name: str) -> str:
    person = Person.objects.filter(username=name, is_active=True).first()
    if person is None:
        raise CommandError(f"Nobody signs in as {name!r}.")
    person_leave(actor=None, person=person, now=now())
    return f"{name} can no longer sign in; what they logged stays."


def _erase(name: str) -> str:
    person = Person.objects.filter(username=name).first()
    if person is None:
        raise CommandError(f"Nobody here has or had the sign-in name {name!r}.")
    pseudonym = person_erase(actor=None, person=person, now=now())
    return f"The name is erased; pages say {pseudonym!r} now. The ledger is as it was."


def _add(name: str, role: str | None) -> str:
    if not role:
        raise CommandError("Say as what, with --role.")
    person = person_add(username=name, password=_password(), role=Role(role), now=now())
    return f"{person.username} can sign in as {role}."


def _password() -> str:
    given = os.environ.get(PASSWORD_VARIABLE, "")
    if given:
        return given
    if not sys.stdin.isatty():
        raise CommandError(f"A password is needed: set {PASSWORD_VARIABLE}, or use a terminal.")
    return getpass.getpass("Password: ")
