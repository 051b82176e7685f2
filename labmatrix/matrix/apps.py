"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class MatrixConfig(AppConfig):
    """Programmes, series, factors, cells."""

    name = "labmatrix.matrix"
    label = "matrix"

    def ready(self) -> None:
        """Put the door into the pages' head."""
        from labmatrix.web.domain.roles import Action
        from labmatrix.web.navigation import door_register

        door_register(
            place=90, label="People", url_name="matrix:people", action=Action.LET_PEOPLE_IN
        )
        door_register(place=10, label="Programmes", url_name="matrix:home")
