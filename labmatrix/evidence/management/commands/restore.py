"""``manage.py restore PATH``: a back-up into an empty installation, compared with the archive."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.evidence.services.restore import backup_restore
from labmatrix.kernel.errors import UserError


class Command(BaseCommand):
    """Into SQLite or PostgreSQL, whichever the back-up came from."""

    help = "Restore a back-up into an empty installation and compare all of it with the archive."
    requires_system_checks = ()  # there need not be any tables yet

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Where from."""
        parser.add_argument("path", type=Path, help="a file that manage.py backup wrote")

    def handle(self, *args: Any, **options: Any) -> None:
        """Restore, and say what was compared."""
        path: Path = options["path"]
        try:
            done = backup_restore(path=path)
        except UserError as error:
            raise CommandError(error.message) from error
        except OSError as error:
            raise CommandError(f"{path} could not be restored: {error}.") from error
        self.stdout.write(
            f"{done.rows} rows of {done.tables} tables and {done.files} files with "
            f"{done.file_bytes} bytes are back.\n"
            "Compared with the archive and found the same: every row of every table, every byte "
            f"of every file, the whole chain of the ledger with its {done.ledger_entries} entries "
            f"and its head {done.ledger_head}"
        )
