"""Django's hook for this room."""

from __future__ import annotations

from django.apps import AppConfig


class SpecimensConfig(AppConfig):
    """Specimens, events and their fold."""

    name = "specimens"
    label = "specimens"

    def ready(self) -> None:
        """Guard the events and check them against the ledger; hang doors and links."""
        from labmatrix.evidence import guards, registry
        from labmatrix.matrix.links import PageLink, Place, link_register
        from labmatrix.matrix.making import made_register
        from labmatrix.web.domain.roles import Action
        from labmatrix.web.navigation import door_register
        from specimens.selectors.made import made_by_cell
        from specimens.services.mirror import event_mirror
        from specimens.services.typed_test import typed_test_mirror

        made_register(made_by_cell)
        guards.protect("specimens_event")
        guards.protect("specimens_typedtest")
        registry.mirror_register(event_mirror)
        registry.mirror_register(typed_test_mirror)
        door_register(
            place=20, label="Specimens", url_name="specimens:specimen-list", action=Action.SEE_WORK
        )
        see, create = Action.SEE_WORK, Action.CREATE_SPECIMEN
        listed, planned = "specimens:specimen-list", "specimens:specimen-create"
        series, cell = ("series",), ("series", "cell")
        for link in (
            PageLink(Place.PROGRAMME, "Specimens", listed, see, ("programme",)),
            PageLink(Place.SERIES, "Specimens", listed, see, series),
            PageLink(Place.SERIES, "Create the planned specimens", planned, create, series),
            PageLink(Place.SERIES, "Print labels", "specimens:specimen-labels", see, series),
            PageLink(Place.CELL, "Specimens", listed, see, cell),
            PageLink(Place.CELL, "Create the planned specimens", planned, create, cell),
        ):
            link_register(link)
