"""``manage.py rebuild``: compute stored numbers again and compare."""

from __future__ import annotations

import uuid
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from labmatrix.kernel.errors import UserError
from results.models import Metric, Reduction
from results.services.rebuild import (
    Rebuilt,
    metric_said,
    reduction_rebuild,
    reduction_said,
    summary_said,
)


class Command(BaseCommand):
    """Nothing is overwritten; a difference is printed and makes the command fail."""

    help = "Compute current reductions again from their stored inputs and compare every number."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Which reductions."""
        parser.add_argument("--superseded", action="store_true", help="superseded ones too")
        parser.add_argument("--metric", type=uuid.UUID, help="only the reduction of this number")

    def handle(self, *args: Any, **options: Any) -> None:
        """Rebuild one after the other, in the order of their keys."""
        rows = Reduction.objects.order_by("key").select_related("record__subject")
        if options["metric"]:
            rows = rows.filter(metrics=options["metric"])
            if not rows:
                raise CommandError(f"There is no number {options['metric']}.")
        elif not options["superseded"]:
            rows = rows.filter(is_current=True)
        numbers = identical = failed = 0
        for reduction in rows:
            try:
                rebuilt = reduction_rebuild(reduction)
            except UserError as error:
                failed += 1
                self.stderr.write(f"{reduction_said(reduction)}: {error.message}")
                continue
            numbers += rebuilt.count
            identical += rebuilt.same_environment
            failed += bool(rebuilt.differences)
            self._tell(rebuilt, options)
        self.stdout.write(summary_said(len(rows), numbers, identical))
        if failed:
            raise CommandError(f"{failed} reductions differ or cannot be computed again.")

    def _tell(self, rebuilt: Rebuilt, options: dict[str, Any]) -> None:
        for words in rebuilt.differences:
            self.stderr.write(f"{reduction_said(rebuilt.reduction)}: {words}")
        if options["metric"]:
            self.stdout.write(metric_said(Metric.objects.get(pk=options["metric"])))
