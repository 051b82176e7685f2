"""``manage.py rebuild-states``: fold every specimen's events anew."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from specimens.services.rebuild import states_rebuild

SHOWN = 20


class Command(BaseCommand):
    """Safe at any time: a state is what the events say, kept for lists and pages."""

    help = "Fold the events of every specimen anew and say whose stored state differed."

    def handle(self, *args: Any, **options: Any) -> None:
        """Rebuild, then say what differed."""
        rebuilt = states_rebuild(report=lambda n: self.stderr.write(f"{n} specimens folded …"))
        differing = rebuilt.differing
        self.stdout.write(
            f"{rebuilt.count} states rebuilt; {len(differing)} differed from what was stored."
        )
        for code in differing[:SHOWN]:
            self.stdout.write(f"  {code}")
        if len(differing) > SHOWN:
            self.stdout.write(f"  and {len(differing) - SHOWN} more")
