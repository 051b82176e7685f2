"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class WebConfig(AppConfig):
    """People and access."""

    name = "labmatrix.web"
    label = "web"

    def ready(self) -> None:
        """Register the start-up checks."""
        from labmatrix.web import checks  # noqa: F401
