"""``manage.py verify-ledger``: walk the chain and say where it is broken."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.evidence.services.ledger import ledger_head, ledger_verify
from labmatrix.web.start import migration_refusal


class Command(BaseCommand):
    """Every entry's hash, its place in the chain, its columns, and the tables that repeat it."""

    help = "Check every entry of the ledger; prints where it is broken and the head of the chain."

    def handle(self, *args: Any, **options: Any) -> None:
        """Fails when anything is found."""
        refusal = migration_refusal()
        if refusal:
            raise CommandError(refusal)
        found = 0
        for finding in ledger_verify():
            found += 1
            self.stdout.write(f"entry {finding.seq}, {finding.where}: {finding.words}")
        head = ledger_head()
        self.stdout.write(f"{head['entries']} entries; the head of the chain is {head['head']}")
        if found:
            raise CommandError(f"The ledger is broken in {found} places.")
        self.stdout.write(
            "The chain is whole. It tells of changes made behind its back only against a head that "
            "was lodged elsewhere: compare the line above with the last one that you kept."
        )
