"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class SpecimensConfig(AppConfig):
    """Specimens, events and their fold."""

    name = "specimens"
    label = "specimens"
