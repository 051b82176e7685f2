"""``manage.py setup``: an empty laboratory with its first lead."""

from __future__ import annotations

import getpass
import os
import sys
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import transaction

from labmatrix.kernel.errors import UserError
from labmatrix.web.domain.roles import Role
from labmatrix.web.services.laboratory import laboratory_setup, person_add
from labmatrix.web.start import migration_refusal

PASSWORD_VARIABLE = "STRONGFLOOR_LEAD_PASSWORD"  # noqa: S105
NO_PASSWORD = f"The lead needs a password: set {PASSWORD_VARIABLE}, or run this in a terminal."
NOT_THE_SAME = "The two passwords differ; nothing was set up."


class Command(BaseCommand):
    """Name the laboratory and let one person in."""

    help = "Set up an empty laboratory: its name, its time zone and its first lead."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """What a laboratory cannot do without."""
        parser.add_argument("--name", required=True, help="name of the laboratory, as on reports")
        parser.add_argument("--zone", required=True, help="IANA time zone, such as Europe/Lisbon")
        parser.add_argument("--lead", required=True, help="sign-in name of the first lead")

    def handle(self, *args: Any, **options: Any) -> None:
        """Both or neither."""
        refusal = migration_refusal()
        if refusal:
            raise CommandError(refusal)
        password = _password()
        try:
            with transaction.atomic():
                laboratory = laboratory_setup(name=options["name"], time_zone=options["zone"])
                person_add(username=options["lead"], password=password, role=Role.LEAD)
        except UserError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"{laboratory.name} is set up; {options['lead']} can sign in once manage.py up runs."
        )


def _password() -> str:
    given = os.environ.get(PASSWORD_VARIABLE, "")
    if given:
        return given
    if not sys.stdin.isatty():
        raise CommandError(NO_PASSWORD)
    first = getpass.getpass("Password of the first lead: ")
    if getpass.getpass("Once more: ") != first:
        raise CommandError(NOT_THE_SAME)
    return first
