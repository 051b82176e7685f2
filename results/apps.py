"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class ResultsConfig(AppConfig):
    """Reductions, comparison and every page that mixes floors."""

    name = "results"
    label = "results"
