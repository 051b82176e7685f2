"""``manage.py upload``: records from the command line, through the same door as any other."""

from __future__ import annotations

from argparse import ArgumentParser
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.evidence.models import TESTS
from labmatrix.kernel.clock import now, parse_instant
from labmatrix.kernel.errors import UserError
from labmatrix.web.models import Person
from results.forms import json_or_name, settings_of
from results.services.record import Upload, record_receive


class Command(BaseCommand):
    """Says the record's id; the worker reduces it."""

    help = "Upload the files of one test of one specimen, location or machine."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The same names as in the API."""
        parser.add_argument("subject", help="code of a specimen, location or machine")
        parser.add_argument("test", choices=TESTS)
        parser.add_argument("files", nargs="+", type=Path)
        parser.add_argument("--as", dest="username", required=True, help="who uploads")
        parser.add_argument(
            "--channels", required=True, help="name of a saved map, a JSON list, or @file.json"
        )
        parser.add_argument("--reduction-settings", default="", help="JSON object")
        parser.add_argument("--cycle-offset", type=int, default=0)
        parser.add_argument("--measured-at", default="")

    def handle(self, *args: Any, **options: Any) -> None:
        """Open the files and hand them in."""
        actor = Person.objects.filter(username=options["username"], is_active=True).first()
        if actor is None:
            raise CommandError(f"Nobody signs in as {options['username']!r}.")
        try:
            with ExitStack() as stack:
                uploads = [
                    Upload(path.name, stack.enter_context(path.open("rb")))
                    for path in options["files"]
                ]
                channels = options["channels"]
                if channels.startswith("@"):
                    channels = Path(channels[1:]).read_text(encoding="utf-8")
                measured = options["measured_at"]
                record = record_receive(
                    actor=actor,
                    subject_code=options["subject"],
                    test=options["test"],
                    uploads=uploads,
                    channels=json_or_name(channels, argument="channels"),
                    settings=settings_of(options["reduction_settings"]),
                    cycle_offset=options["cycle_offset"],
                    measured_at=parse_instant(measured, argument="--measured-at")
                    if measured
                    else None,
                    now=now(),
                )
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}.") from error
        except UserError as error:
            raise CommandError(error.message) from error
        self.stdout.write(f"{record.id} {record.status}")
