"""``manage.py person``: let someone in, or see a leaver out."""

from __future__ import annotations

import getpass
import os
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.kernel.errors import UserError
from labmatrix.web.domain.roles import Role
from labmatrix.web.models import ApiToken, Person
from labmatrix.web.services.laboratory import person_add

PASSWORD_VARIABLE = "STRONGFLOOR_PERSON_PASSWORD"  # noqa: S105


class Command(BaseCommand):
    """Adds a person with a role in the laboratory; ``--leaves`` ends their access."""

    help = "Add someone who can sign in, or end the access of someone who leaves."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Who, and as what."""
        parser.add_argument("name", help="sign-in name")
        parser.add_argument("--role", choices=[str(r) for r in Role], help="part in the laboratory")
        parser.add_argument("--leaves", action="store_true", help="end the person's access")

    def handle(self, *args: Any, **options: Any) -> None:
        """One of the two."""
        if options["leaves"]:
            self._leave(options["name"])
            return
        if not options["role"]:
            raise CommandError("Say as what, with --role.")
        try:
            person_add(username=options["name"], password=_password(), role=Role(options["role"]))
        except UserError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{options['name']} can sign in as {options['role']}.")

    def _leave(self, name: str) -> None:
        if not Person.objects.filter(username=name, is_active=True).update(is_active=False):
            raise CommandError(f"Nobody signs in as {name!r}.")
        ApiToken.objects.filter(person__username=name).delete()
        self.stdout.write(f"{name} can no longer sign in; what they logged stays.")


def _password() -> str:
    given = os.environ.get(PASSWORD_VARIABLE, "")
    if given:
        return given
    if not sys.stdin.isatty():
        raise CommandError(f"A password is needed: set {PASSWORD_VARIABLE}, or use a terminal.")
    return getpass.getpass("Password: ")
