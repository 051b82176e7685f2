"""``manage.py import-history``: take in a workbook of finished specimens, as the page does."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.evidence.services.job import job_perform
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.matrix.selectors.programme import programme_get
from labmatrix.web.domain.roles import Action
from labmatrix.web.models import Person
from results.history_template import template_workbook
from results.models import HistoryImport
from results.services.history import history_receive

Status = HistoryImport.Status
PARTS = ("specimens", "events", "results")


class Command(BaseCommand):
    """Looks at a file, and with ``--take`` takes it in whole or not at all."""

    help = "Look at a workbook of finished specimens; --take takes it in; --template writes one."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which file, for which programme, by whom."""
        parser.add_argument("file", type=Path, help=".xlsx or .csv")
        parser.add_argument("--programme", help="its code")
        parser.add_argument("--as", dest="username", help="a lead of the programme")
        parser.add_argument("--take", action="store_true", help="take it in if nothing is wrong")
        parser.add_argument("--template", action="store_true", help="write an empty workbook here")

    def handle(self, *args: Any, **options: Any) -> None:
        """Do the work here and say each sentence."""
        path: Path = options["file"]
        try:
            if options["template"]:
                path.write_bytes(template_workbook())
                self.stdout.write(f"An empty workbook is in {path}.")
                return
            source = self._received(path, options)
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}.") from error
        except UserError as error:
            raise CommandError(error.message) from error
        if source.job_id is not None:
            job_perform(job_id=source.job_id)
        source.refresh_from_db()
        self._say(source)

    def _received(self, path: Path, options: dict[str, Any]) -> HistoryImport:
        actor = Person.objects.filter(username=options["username"], is_active=True).first()
        if actor is None:
            raise CommandError(f"Nobody signs in as {options['username']!r}; say who with --as.")
        programme = programme_get(actor, options["programme"] or "", Action.TAKE_HISTORY)
        with path.open("rb") as stream:
            return history_receive(
                actor=actor,
                programme=programme,
                filename=path.name,
                stream=stream,
                take=options["take"],
                now=now(),
            )

    def _say(self, source: HistoryImport) -> None:
        if source.status == Status.REFUSED and source.error is not None:
            for row in source.error["facts"].get("rows", ()):
                self.stdout.write(row["message"])
            raise CommandError(source.error["message"])
        if source.status not in (Status.CHECKED, Status.TAKEN):
            raise CommandError(f"{source.filename} is {source.get_status_display()}.")
        new, kept = source.summary["new"], source.summary["unchanged"]
        counts = ", ".join(f"{new[name]} {name} ({kept[name]} there already)" for name in PARTS)
        done = "Taken in" if source.status == Status.TAKEN else "Nothing is wrong; it would add"
        self.stdout.write(f"{done}: {counts}.")
