"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class SpecimensConfig(AppConfig):
    """Specimens, events and their fold."""

    name = "specimens"
    label = "specimens"

    def ready(self) -> None:
        """Guard the events and check them against the ledger."""
        from labmatrix.evidence import guards, registry
        from specimens.services.mirror import event_mirror

        guards.protect("specimens_event")
        registry.mirror_register(event_mirror)
