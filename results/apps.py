"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class ResultsConfig(AppConfig):
    """Reductions, comparison and every page that mixes floors."""

    name = "results"
    label = "results"

    def ready(self) -> None:
        """Take the reductions among the jobs."""
        from labmatrix.evidence.registry import handler_register
        from results.services.record import JOB_KIND
        from results.services.reduce import ReduceHandler

        handler_register(JOB_KIND, ReduceHandler())
