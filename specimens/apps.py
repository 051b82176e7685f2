"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class SpecimensConfig(AppConfig):
    """Specimens, events and their fold."""

    name = "specimens"
    label = "specimens"

    def ready(self) -> None:
        """Guard the events, check them against the ledger, put the door into the pages' head."""
        from labmatrix.evidence import guards, registry
        from labmatrix.web.domain.roles import Action
        from labmatrix.web.navigation import door_register
        from specimens.services.mirror import event_mirror

        guards.protect("specimens_event")
        registry.mirror_register(event_mirror)
        door_register(
            place=20, label="Specimens", url_name="specimens:specimen-list", action=Action.SEE_WORK
        )
