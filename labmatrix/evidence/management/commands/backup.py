"""``manage.py backup PATH``: the whole installation in one file, while it runs."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.evidence.services.backup import backup_write
from labmatrix.kernel.clock import now
from labmatrix.kernel.errors import UserError
from labmatrix.web.start import migration_refusal


class Command(BaseCommand):
    """Rows of one instant, every stored file, the digest of all of it."""

    help = "Back up rows and files of this installation, running or not, into one new file."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where to."""
        parser.add_argument("path", type=Path, help="the file to write, which must not exist")

    def handle(self, *args: Any, **options: Any) -> None:
        """Write, and say what is in it."""
        path: Path = options["path"]
        refusal = migration_refusal()
        if refusal:
            raise CommandError(refusal)
        try:
            done = backup_write(path=path, now=now())
        except UserError as error:
            raise CommandError(error.message) from error
        except OSError as error:
            raise CommandError(f"{path} could not be written: {error.strerror}.") from error
        self.stdout.write(
            f"{path}: {done.rows} rows of {done.tables} tables, {done.files} files with "
            f"{done.file_bytes} bytes. It holds password hashes: keep it as you keep those.\n"
            f"{done.ledger_entries} entries of the ledger; the head of the chain is "
            f"{done.ledger_head}"
        )
